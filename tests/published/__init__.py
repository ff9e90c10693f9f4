"""Checks against published numbers: the modules fill the register, test_published.py judges it."""
