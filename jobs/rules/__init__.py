"""The rules of the trade as data, for the service and for the phone. `queries/rules.py` reads them."""
