"""How things stand on the disk: sound files, typed files, JSON, and writing that loses nothing.

`output` holds the rules for all that is written; `system` is each operating system's own way with
folders, syncs, locks and keys; `typed_records` alone turns content into records; `migration` reads
files of older schemas.
"""
