"""Spending and lab figures."""
