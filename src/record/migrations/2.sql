-- What inspections are found by, in small letters, a line a record and many records a text: made from summaries, plates and
-- customers, and checked against them. The words themselves are put in by the program, which knows more small letters than
-- SQLite does.
CREATE TABLE search (
    block INTEGER PRIMARY KEY CHECK (block >= 0),
    words TEXT NOT NULL
) STRICT;
-- Both were read through for a part of a word.
DROP INDEX summary_found_by;
DROP INDEX personal_text;
