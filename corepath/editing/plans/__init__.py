"""Plans made while a page is open, and the pages of a plan as they are served: each shows the next
plan by itself.

A plan is made by a process of its own (`plan_run`), or in the terminal's own thread where it tells
of each (`plan_loop`). Either says how far it is by messages, of which the last has `plan`, the
digest, where the folder holds a new one.
"""
