"""What the company allows itself before somebody is told."""

from jobs.models import CompanyRules


def get_company_rules() -> CompanyRules:
    """Return the company's rules, or the defaults where nobody has set any."""
    return CompanyRules.objects.filter(pk=1).first() or CompanyRules(pk=1)
