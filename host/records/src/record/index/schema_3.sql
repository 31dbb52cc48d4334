-- Schema 3: cases, and the matings of connectors. Seals also cover entries of cases, so they no longer refer to outcomes alone.

-- An entry's text is that of its file; everything else in its row can be read in it, so that questions need no file.
CREATE TABLE case_entries (
    case_name TEXT NOT NULL,
    number    INTEGER NOT NULL,
    what      TEXT NOT NULL,
    dated     TEXT NOT NULL,
    record    TEXT,
    file      TEXT NOT NULL UNIQUE,
    entry     TEXT NOT NULL,
    PRIMARY KEY (case_name, number)
) STRICT;

-- How fast the grip was turned for a figure, degrees per second; null where that does not matter.
ALTER TABLE figures ADD COLUMN speed_deg_s REAL;

-- Whether the session plugged the part in, and the rig's lead that it was plugged into; null where it was not counted.
ALTER TABLE outcomes ADD COLUMN mating INTEGER;
ALTER TABLE outcomes ADD COLUMN lead TEXT;

CREATE TABLE seals_of_all (
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
    UNIQUE (record, number)
) STRICT;
INSERT INTO seals_of_all
    SELECT sequence, record, number, fingerprint, previous, key, signature, manifest, documents, documents_signature FROM seals;
DROP TABLE seals;
ALTER TABLE seals_of_all RENAME TO seals;

-- Cases as a shop asks for them.
CREATE VIEW cases AS
SELECT opening.case_name,
       opening.dated                                          AS opened,
       json_extract(opening.entry, '$.told.vehicle')               AS vehicle,
       json_extract(opening.entry, '$.told.complaint.words')       AS complaint,
       (SELECT count(*) FROM case_entries e WHERE e.case_name = opening.case_name) AS entries,
       (SELECT json_extract(e.entry, '$.told.ending') FROM case_entries e
         WHERE e.case_name = opening.case_name AND e.what = 'closing'
           AND NOT EXISTS (SELECT 1 FROM case_entries later
                           WHERE later.case_name = e.case_name AND later.number > e.number)) AS ending
FROM case_entries AS opening
WHERE opening.number = 1;
