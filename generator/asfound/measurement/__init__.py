"""Rows of visits into errors and budgets."""
