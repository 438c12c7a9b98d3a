"""What a browser meets at the bare address."""

import pytest
from django.test import Client


@pytest.mark.django_db
def test_the_bare_address_leads_to_the_reference() -> None:
    answer = Client().get("/", follow=True)
    assert answer.redirect_chain == [("/api/v1/reference", 302)]
    assert answer.status_code == 200
    assert b"<title>" in answer.content
