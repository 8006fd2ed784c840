"""digitize: from one side photo of a finished model rocket to its centre of pressure."""

__version__ = "0.1.0"
