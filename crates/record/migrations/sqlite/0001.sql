-- The record, format 1. Names and contexts are kept once and meant by number; the seals cover their
-- text. Seals are in "group"; "about" and "stretch" are for look-up and can be built again from the
-- rest.

-- One row a group: what its seal covers besides its members, and the seal.
CREATE TABLE "group" (
    first_number INTEGER PRIMARY KEY,
    number       INTEGER NOT NULL,
    deed         BLOB    NOT NULL,
    closed_at    INTEGER NOT NULL,
    entries      INTEGER NOT NULL,
    readings     INTEGER NOT NULL,
    previous     BLOB    NOT NULL,
    seal         BLOB    NOT NULL
) STRICT;
CREATE UNIQUE INDEX group_by_deed ON "group" (deed);

-- Typed events: the exact JSON bytes, and the digest of each.
CREATE TABLE entry (
    number INTEGER PRIMARY KEY,
    bytes  BLOB NOT NULL,
    hash   BLOB NOT NULL
) STRICT;

CREATE TABLE about (
    subject TEXT    NOT NULL,
    number  INTEGER NOT NULL,
    PRIMARY KEY (subject, number)
) STRICT, WITHOUT ROWID;

CREATE TABLE name (
    id   INTEGER PRIMARY KEY,
    text TEXT NOT NULL UNIQUE
) STRICT;

-- What the readings of one bench in one run share; each column is a name's id.
CREATE TABLE context (
    id      INTEGER PRIMARY KEY,
    gauge   INTEGER NOT NULL,
    person  INTEGER NOT NULL,
    machine INTEGER NOT NULL,
    spindle INTEGER NOT NULL,
    tool    INTEGER NOT NULL,
    source  INTEGER NOT NULL,
    edition INTEGER NOT NULL
) STRICT;

-- The readings of one characteristic lie together, in order of their numbers.
-- form: code of the unit times 256, plus the exponent as a byte. mark: check word of the digest.
CREATE TABLE reading (
    characteristic INTEGER NOT NULL,
    number         INTEGER NOT NULL,
    at             INTEGER NOT NULL,
    piece          TEXT    NOT NULL,
    position       INTEGER NOT NULL,
    mantissa       INTEGER NOT NULL,
    form           INTEGER NOT NULL,
    context        INTEGER NOT NULL,
    mark           INTEGER NOT NULL,
    PRIMARY KEY (characteristic, number)
) STRICT, WITHOUT ROWID;
CREATE INDEX reading_by_piece ON reading (piece);

-- Of each block of 16384 numbers: which characteristics were measured with which gauge, and the
-- earliest and latest time. From a time to the numbers, and from a number to the characteristic.
CREATE TABLE stretch (
    block          INTEGER NOT NULL,
    characteristic INTEGER NOT NULL,
    gauge          INTEGER NOT NULL,
    earliest       INTEGER NOT NULL,
    latest         INTEGER NOT NULL,
    PRIMARY KEY (characteristic, block, gauge)
) STRICT, WITHOUT ROWID;
CREATE INDEX stretch_by_block ON stretch (block);
CREATE INDEX stretch_by_gauge ON stretch (gauge);
