"""`corepath edit`: the job as a page on this machine, where shape and numbers are changed together.

Terms: a *sitting* is the time from the start of the command to its end; a *draft* is a text that is
tried while something is dragged, and never written; a *handle* is a mark on a drawing that can be
dragged; the *workshop* is the process that works out what a text becomes.
"""
