"""Can the reading be trusted? One module a kind of check; `check` says what a check is.

A new check is a function that returns a `check.Check`, in the module whose subject it shares.
"""
