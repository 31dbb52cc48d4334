-- Schema 2: the grade of an outcome by the rules of its sheet; null where there is none.

ALTER TABLE outcomes ADD COLUMN grade TEXT;
