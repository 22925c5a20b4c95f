"""Screens: results as tables for a terminal, as HTML and as JSON.  Nothing here knows how a number was made."""
