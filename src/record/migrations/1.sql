-- The log: entries as they were written, their Merkle leaves, and the roots of the perfect subtrees after each of them.
CREATE TABLE log (
    number INTEGER PRIMARY KEY CHECK (number >= 0),
    entry  BLOB NOT NULL,
    leaf   BLOB NOT NULL CHECK (length(leaf) = 32),
    peaks  BLOB NOT NULL CHECK (length(peaks) % 32 = 0)
) STRICT;

-- Bay, rule, screws, lens and options files, whole.
CREATE TABLE parameter (
    sha256  BLOB NOT NULL PRIMARY KEY CHECK (length(sha256) = 32),
    content BLOB NOT NULL
) STRICT, WITHOUT ROWID;

-- Heads that the station's key signed.
CREATE TABLE signature (
    size       INTEGER PRIMARY KEY CHECK (size > 0),
    root       BLOB NOT NULL CHECK (length(root) = 32),
    signed     TEXT NOT NULL,
    public_key BLOB NOT NULL CHECK (length(public_key) = 32),
    signature  BLOB NOT NULL CHECK (length(signature) = 64)
) STRICT;

-- What lists show of an inspection; made from the entries, and checked against them.
CREATE TABLE summary (
    number  INTEGER PRIMARY KEY REFERENCES log (number),
    id      TEXT NOT NULL UNIQUE,
    first   TEXT NOT NULL,
    begun   TEXT NOT NULL,
    who     TEXT NOT NULL,
    vehicle TEXT NOT NULL,
    bay     TEXT NOT NULL,
    rule    TEXT NOT NULL,
    verdict TEXT NOT NULL,
    readings INTEGER NOT NULL,
    how     TEXT NOT NULL CHECK (how IN ('new', 'continues', 'corrects')),
    plate    BLOB,
    customer BLOB,
    found_by TEXT NOT NULL
) STRICT;
CREATE INDEX summary_first ON summary (first, number);
-- Small enough to be read through for a part of a word.
CREATE INDEX summary_found_by ON summary (found_by);

-- Text that can be erased; the log holds the digest alone.
CREATE TABLE personal (
    digest BLOB NOT NULL PRIMARY KEY CHECK (length(digest) = 32),
    first  TEXT NOT NULL,
    field  TEXT NOT NULL CHECK (field IN ('plate', 'customer')),
    salt   BLOB NOT NULL,
    text   TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX personal_first ON personal (first);
CREATE INDEX personal_text ON personal (text, first);

CREATE TRIGGER log_order BEFORE INSERT ON log
WHEN NEW.number <> (SELECT coalesce(max(number) + 1, 0) FROM log)
BEGIN SELECT RAISE(ABORT, 'the log takes the next number only'); END;
CREATE TRIGGER log_update BEFORE UPDATE ON log BEGIN SELECT RAISE(ABORT, 'the log is never changed'); END;
CREATE TRIGGER log_delete BEFORE DELETE ON log BEGIN SELECT RAISE(ABORT, 'nothing is taken out of the log'); END;

CREATE TRIGGER parameter_once BEFORE INSERT ON parameter
WHEN EXISTS (SELECT 1 FROM parameter WHERE sha256 = NEW.sha256)
BEGIN SELECT RAISE(ABORT, 'a parameter is never replaced'); END;
CREATE TRIGGER parameter_update BEFORE UPDATE ON parameter BEGIN SELECT RAISE(ABORT, 'a parameter is never changed'); END;
CREATE TRIGGER parameter_delete BEFORE DELETE ON parameter BEGIN SELECT RAISE(ABORT, 'a parameter is never taken out'); END;

CREATE TRIGGER signature_once BEFORE INSERT ON signature
WHEN EXISTS (SELECT 1 FROM signature WHERE size = NEW.size)
BEGIN SELECT RAISE(ABORT, 'a signature is never replaced'); END;
CREATE TRIGGER signature_update BEFORE UPDATE ON signature BEGIN SELECT RAISE(ABORT, 'a signature is never changed'); END;
CREATE TRIGGER signature_delete BEFORE DELETE ON signature BEGIN SELECT RAISE(ABORT, 'a signature is never taken out'); END;

CREATE TRIGGER summary_once BEFORE INSERT ON summary
WHEN EXISTS (SELECT 1 FROM summary WHERE number = NEW.number OR id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'a summary is never replaced'); END;
CREATE TRIGGER summary_update BEFORE UPDATE ON summary BEGIN SELECT RAISE(ABORT, 'a summary is never changed'); END;
CREATE TRIGGER summary_delete BEFORE DELETE ON summary BEGIN SELECT RAISE(ABORT, 'a summary is never taken out'); END;

CREATE TRIGGER personal_update BEFORE UPDATE ON personal BEGIN SELECT RAISE(ABORT, 'personal text is erased, never changed'); END;
