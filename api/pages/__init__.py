"""What people see in a browser: server-rendered pages over the same queries and services as every door."""
