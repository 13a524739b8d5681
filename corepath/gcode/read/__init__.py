"""The reader of RS-274: text to motions, with all that is wrong by line."""
