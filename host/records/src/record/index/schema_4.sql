-- Schema 4: what of a session's plan was not done to its end, "sweep: cut short; leads check: not begun"; null when all was done, and for
-- outcomes of programs that kept no plan.

ALTER TABLE outcomes ADD COLUMN not_done TEXT;
