"""The logbook: a plain folder that keeps rooms, pairs, places, moves, surveys and takes.

::

    LOGBOOK/
      logbook.toml       says that this folder is a logbook
      rooms/NAME/        entry.toml, and the files that came with it
      pairs/NAME/
      places/NAME/
      surveys/NAME/
      moves/NAME/
      takes/NAME/        as ``apexline take`` made it, and remarks.toml
      bin/               what was thrown away

`folder` opens one; `entries` says what an entry holds, and writes and reads them; `remarks` keeps
what is said of a take, `take_index` lists takes fast, `verify` checks all, `exchange` takes in and
gives out.
"""
