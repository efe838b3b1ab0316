"""Sheets and labels to print: one description each, shown as HTML or as PDF.

`blocks` are what a sheet is made of; `batch`, `lots` and `product` describe sheets by them;
`html` and `pdf` show any of them. A maker prints them on plain paper.
"""
