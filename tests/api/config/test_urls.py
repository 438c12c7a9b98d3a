"""What a browser meets at the bare address."""

import pytest
from django.test import Client


@pytest.mark.django_db
def test_the_bare_address_leads_to_the_entrance() -> None:
    answer = Client().get("/", follow=True)
    assert answer.redirect_chain == [("/sign-in?next=/", 302)]
    assert answer.status_code == 200
    assert b"<title>" in answer.content
