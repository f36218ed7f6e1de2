"""One file a sheet, with its template beside it; each defines ``SHEET`` and is found by being here."""
