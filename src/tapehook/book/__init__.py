"""The book: where lenses, readings and jobs are kept, for one laptop or a whole rental house.

May live here: the store on SQLite and PostgreSQL, what is kept in it and how it is found again, how two books become
one, backups and checks. May not: any working out of a figure that ``prep`` or the packages below it work out, words
for a terminal, or file formats: job folders are read and written by ``job``. A record in the book is never changed;
docs/decisions/0005-the-book.md says how everything else follows from that.

What it offers to commands and pages, by module:

- ``store``: ``open_book``, ``new_book``; ``book.reading()`` and ``book.writing(Writer(who, source))`` are transactions,
  a connection to read from and a ``Writing`` to write with. ``book.read_only`` says why it cannot be written.
- ``working``: a job on a page. ``open_job(book, name)`` gives the records with what an edit has to name; ``measure``
  adds readings and tests as they are made, ``save_job`` keeps everything else that was edited.
- ``measuring``: ``add_measurements`` outside any job; ``correct`` puts a new measurement in place of an old one, or
  withdraws it, in its job too; ``in_force`` and ``of_lenses`` read them.
- ``jobs``: ``load_job`` for ``prepare``, ``job_names``; lenses on cameras, camera builds, sign-offs.
- ``lenses``: ``lenses_of``, ``read_serial`` for a provisional serial, ``tie`` and ``untie``, ``mark_lens``.
- ``ties``: what ties a lens together, and taking it back.
- ``maps``: ``open_lens``, a lens with its map, findings, sessions and shelves, from a cache where that holds.
- ``history``: ``lens_history``, what changed over the sessions of a lens, with its picture.
- ``search``: ``find_lenses``. ``shelves``: shelves, pins, a default shelf for each camera.
- ``folders``, ``importing``, ``exporting``: job folders in and out, with a plan before anything is written.
- ``merging``, ``conflicts``, ``settling``: two books into one, what people must decide, and what they decided.
- ``shelving``: shelves as a person names them. ``backup``, ``checking``: safety.

Whatever cannot be done raises ``trouble.BookRefusal``, whose ``problems`` are sentences to show; an edit of what
somebody else changed meanwhile raises ``trouble.StaleEdit``, which is one too. ``versions.Thing`` is anything that is
edited: ``data`` says what it is now, ``seen`` is what an edit has to name, ``in_conflict`` that two people disagree.
"""
