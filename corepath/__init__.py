"""corepath: from the design of a laminated board's wood core to G-code that has been read back."""

__version__ = "0.1.0"
