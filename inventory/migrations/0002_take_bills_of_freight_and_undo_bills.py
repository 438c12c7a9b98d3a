import datetime
import django.db.models.deletion
from django.db import migrations, models


def tell_booked_days(apps, schema_editor):
    """Bills that were taken before count from their entry's day; those whose entry was reversed are undone."""
    SupplierInvoice = apps.get_model("inventory", "SupplierInvoice")
    Entry = apps.get_model("inventory", "Entry")
    for invoice in SupplierInvoice.objects.select_related("entry").iterator():
        entry = invoice.entry
        invoice.booked_date = entry.booked_date if entry else invoice.recorded_at.date()
        undone = Entry.objects.filter(reverses=entry).first() if entry else None
        if undone is not None:
            invoice.undone_at, invoice.undone_by_id = undone.recorded_at, undone.actor_id
            invoice.undone_date, invoice.undone_reason = undone.booked_date, undone.reason
        invoice.save()


class Migration(migrations.Migration):

    dependencies = [
        ('inventory', '0001_lay_down_the_ledger'),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name='supplierinvoice',
            name='a_supplier_uses_a_bill_number_once',
        ),
        migrations.AddField(
            model_name='invoicecharge',
            name='receipts',
            field=models.ManyToManyField(related_name='+', to='inventory.entry'),
        ),
        migrations.AddField(
            model_name='invoiceline',
            name='is_for_goods',
            field=models.BooleanField(default=True),
        ),
        migrations.AddField(
            model_name='supplierinvoice',
            name='booked_date',
            field=models.DateField(default=datetime.date(2000, 1, 1)),
            preserve_default=False,
        ),
        migrations.AddField(
            model_name='supplierinvoice',
            name='undone_at',
            field=models.DateTimeField(null=True),
        ),
        migrations.AddField(
            model_name='supplierinvoice',
            name='undone_by',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.actor'),
        ),
        migrations.AddField(
            model_name='supplierinvoice',
            name='undone_date',
            field=models.DateField(null=True),
        ),
        migrations.AddField(
            model_name='supplierinvoice',
            name='undone_reason',
            field=models.CharField(blank=True, max_length=500),
        ),
        migrations.AddConstraint(
            model_name='invoiceline',
            constraint=models.CheckConstraint(condition=models.Q(('is_for_goods', True), models.Q(('booked', 0), ('matched_quantity', 0), ('price', 0)), _connector='OR'), name='freight_alone_bills_no_goods'),
        ),
        migrations.AddConstraint(
            model_name='supplierinvoice',
            constraint=models.UniqueConstraint(condition=models.Q(('undone_at__isnull', True)), fields=('supplier', 'number'), name='a_supplier_uses_a_bill_number_once'),
        ),
        migrations.AddConstraint(
            model_name='supplierinvoice',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('undone_at__isnull', True), ('undone_by__isnull', True), ('undone_date__isnull', True)), models.Q(('undone_at__isnull', False), ('undone_by__isnull', False), ('undone_date__isnull', False)), _connector='OR'), name='an_undone_bill_has_a_person_and_a_day'),
        ),
        migrations.RunPython(tell_booked_days, migrations.RunPython.noop),
    ]
