"""The folder of a plan: written whole or not at all, sealed, and read again."""
