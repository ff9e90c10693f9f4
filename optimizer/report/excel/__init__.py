"""Answers as a workbook for spreadsheet programs, and the workbook that a project can be written in."""
