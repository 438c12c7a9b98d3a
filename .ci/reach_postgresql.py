"""Say whether PostgreSQL answers at the address given; it is never started from here."""

# ruff: noqa: T201 - what it prints is what it is for.

import sys

import psycopg


def main() -> int:
    address = sys.argv[1]
    try:
        with psycopg.connect(address, connect_timeout=10) as connection:
            print(f"PostgreSQL {connection.info.server_version // 10000} answers.")
    except psycopg.OperationalError as error:
        print(f"PostgreSQL is needed and does not answer ({error}).", file=sys.stderr)
        print("Start one, or name it in POSTGRESQL_URL.", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
