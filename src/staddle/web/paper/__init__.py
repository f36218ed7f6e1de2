"""What the pages are drawn with: frame, marks, style and the one module. No code in here."""
