"""Drawings: values in, SVG text out. Geometry stands in attributes; nothing here knows a clock, a page or Django.

Every drawing has two modes. ``page`` names CSS classes, so that the three lights colour it. ``paper`` carries
its colours as attributes, because the PDF engine does not apply a page's style sheet inside inline SVG.
"""
