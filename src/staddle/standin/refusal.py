"""The two ways to say no: to a caller over HTTPS, and to the console at start."""

__all__ = ["Refusal", "StartRefused"]


class Refusal(Exception):
    """A call is refused. Args: HTTP status, stable code, one sentence; further fields go into the JSON body."""

    def __init__(self, status: int, code: str, message: str, **fields: str | None) -> None:
        super().__init__(message)
        self.status = status
        self.code = code
        self.message = message
        self.fields = fields

    def body(self) -> dict[str, str | None]:
        """The JSON error body."""
        return {"error": self.code, "message": self.message, **self.fields}


class StartRefused(Exception):
    """The member cannot start. Args: one console line for each thing that is wrong; all at once."""

    def __init__(self, *lines: str) -> None:
        super().__init__("; ".join(lines))
        self.lines = lines
