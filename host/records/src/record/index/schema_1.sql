-- Schema 1 of archive.sqlite. Dates are RFC 3339 as the host wrote them; months are theirs.

CREATE TABLE parts (
    part  INTEGER PRIMARY KEY,
    kind  TEXT NOT NULL,
    label TEXT NOT NULL,
    UNIQUE (kind, label)
) STRICT;

-- A record exists from its first trace on; it is finished once it has an outcome.
CREATE TABLE records (
    record    TEXT PRIMARY KEY,
    part      INTEGER NOT NULL REFERENCES parts,
    begun     TEXT NOT NULL,
    month     TEXT NOT NULL,
    simulated INTEGER NOT NULL CHECK (simulated IN (0, 1))
) STRICT;

CREATE TABLE traces (
    record    TEXT NOT NULL REFERENCES records,
    position  INTEGER NOT NULL,
    procedure TEXT NOT NULL,
    scans     INTEGER NOT NULL,
    ended     TEXT NOT NULL,
    file      TEXT NOT NULL UNIQUE,
    sha256    TEXT NOT NULL,
    bytes     INTEGER NOT NULL,
    PRIMARY KEY (record, position)
) STRICT;

CREATE TABLE outcomes (
    record   TEXT NOT NULL REFERENCES records,
    number   INTEGER NOT NULL,
    file     TEXT NOT NULL UNIQUE,
    judged   TEXT NOT NULL,
    scope    TEXT NOT NULL,
    verdict  TEXT NOT NULL,
    aborted  INTEGER NOT NULL CHECK (aborted IN (0, 1)),
    sheet    TEXT NOT NULL,
    program  TEXT NOT NULL,
    analysis TEXT NOT NULL,
    PRIMARY KEY (record, number)
) STRICT;

CREATE TABLE figures (
    record               TEXT NOT NULL,
    number               INTEGER NOT NULL,
    position             INTEGER NOT NULL,
    figure               TEXT NOT NULL,
    channel              TEXT,
    region               TEXT,
    direction            TEXT,
    from_deg             REAL,
    bridge               TEXT,
    value                REAL NOT NULL,
    expanded_uncertainty REAL NOT NULL,
    unit                 TEXT NOT NULL,
    upper_bound          REAL,
    at_deg               REAL,
    limit_min            REAL,
    limit_max            REAL,
    limit_bound          REAL,
    verdict              TEXT,
    PRIMARY KEY (record, number, position),
    FOREIGN KEY (record, number) REFERENCES outcomes
) STRICT;

CREATE TABLE findings (
    record     TEXT NOT NULL,
    number     INTEGER NOT NULL,
    position   INTEGER NOT NULL,
    kind       TEXT NOT NULL,
    channel    TEXT,
    from_deg   REAL,
    to_deg     REAL,
    confidence REAL NOT NULL,
    effect     TEXT,
    text       TEXT NOT NULL,
    PRIMARY KEY (record, number, position),
    FOREIGN KEY (record, number) REFERENCES outcomes
) STRICT;

CREATE INDEX figures_by_name ON figures (figure, channel);
CREATE INDEX findings_by_kind ON findings (kind);

-- One chain over the archive: each seal names the one before it.
CREATE TABLE seals (
    sequence            INTEGER PRIMARY KEY,
    record              TEXT NOT NULL,
    number              INTEGER NOT NULL,
    fingerprint         TEXT NOT NULL UNIQUE,
    previous            TEXT,
    key                 TEXT NOT NULL,
    signature           TEXT NOT NULL,
    manifest            TEXT NOT NULL,
    documents           TEXT NOT NULL,
    documents_signature TEXT NOT NULL,
    UNIQUE (record, number),
    FOREIGN KEY (record, number) REFERENCES outcomes
) STRICT;

-- What a shop asks for most: the last outcome of each record.
CREATE VIEW latest AS
SELECT parts.kind, parts.label, records.begun, records.month, records.simulated, outcomes.*
FROM outcomes
JOIN records USING (record)
JOIN parts USING (part)
WHERE number = (SELECT max(number) FROM outcomes AS other WHERE other.record = outcomes.record);
