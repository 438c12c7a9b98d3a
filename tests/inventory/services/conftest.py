"""Lets what the bench of the book asserts be shown with its values, as it is in test modules."""

import pytest

pytest.register_assert_rewrite("tests.inventory.services.book_bench")
