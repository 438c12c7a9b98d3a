"""Signing in: people by sessions, systems by tokens. Every sign-in and every refusal is logged."""
