"""Alembic's folder: what each released schema changed. A released migration is never edited."""
