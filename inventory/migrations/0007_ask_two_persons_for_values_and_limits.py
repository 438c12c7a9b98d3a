from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("inventory", "0006_note_where_reels_stand"),
    ]

    operations = [
        migrations.AlterField(
            model_name="secondword",
            name="kind",
            field=models.CharField(
                choices=[
                    ("write_off", "write-off"),
                    ("write_down", "write-down"),
                    ("revalue", "change of value"),
                    ("seen", "written off already"),
                    ("reopen", "reopen a period"),
                    ("limit", "write-off limit"),
                ],
                max_length=10,
            ),
        ),
    ]
