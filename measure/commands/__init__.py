"""The commands, one a file, each named by its verb; a part of ``log`` as ``log_add``.

Each file has a frozen record of its options, which alone holds their defaults; a ``run`` that
takes such a record and does the work; and a ``command`` of click's, which only builds the record.
What verbs share stands in ``options`` or beside its subject: no verb imports another.
"""
