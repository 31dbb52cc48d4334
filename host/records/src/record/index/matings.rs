//! How often connectors were plugged in, as the archive knows it: sessions that counted one, sessions that were cut off before they
//! were judged, plugs that were pulled and put back on a vehicle, and what was known before.

use super::{Index, IndexError};
use crate::quantity::PartKind;
use rusqlite::params;

/// Matings of a part's connector.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PartMatings {
    /// Kind of part.
    pub kind: String,
    /// What the part is called.
    pub label: String,
    /// How many.
    pub count: u32,
}

/// Matings of a rig's lead.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeadMatings {
    /// Serial number of the rig.
    pub lead: String,
    /// How many.
    pub count: u32,
}

/// One row per mating of a part, with how many it stands for.
const PART_MATINGS: &str = "
SELECT records.record AS session, parts.kind, parts.label, 1 AS matings FROM records JOIN parts USING (part)
JOIN outcomes ON outcomes.record = records.record AND outcomes.number = 1 AND outcomes.mating = 1
UNION ALL
SELECT records.record, parts.kind, parts.label, 1 FROM records JOIN parts USING (part)
WHERE NOT EXISTS (SELECT 1 FROM outcomes o WHERE o.record = records.record)
  AND EXISTS (SELECT 1 FROM traces t WHERE t.record = records.record AND t.procedure <> 'import')
UNION ALL
SELECT '', json_extract(part.value, '$.kind'), json_extract(part.value, '$.label'),
       coalesce(json_extract(part.value, '$.matings_before'), 0)
FROM case_entries, json_each(case_entries.entry, '$.told.parts') AS part
WHERE case_entries.what IN ('opening', 'note')
UNION ALL
SELECT '', coalesce((SELECT json_extract(part.value, '$.kind')
                 FROM case_entries AS earlier, json_each(earlier.entry, '$.told.parts') AS part
                 WHERE earlier.case_name = case_entries.case_name AND earlier.number <= case_entries.number
                   AND json_extract(part.value, '$.label') = plug.value), 'grip'),
       plug.value, 1
FROM case_entries, json_each(case_entries.entry, '$.told.replugged') AS plug
WHERE case_entries.what = 'note'";

impl Index {
    /// Matings of one part's connector so far, those of a session left out.
    ///
    /// # Errors
    /// The database can't be read.
    pub fn part_matings(&self, kind: PartKind, label: &str, but: &str) -> Result<u32, IndexError> {
        let sql = format!(
            "SELECT coalesce(sum(matings), 0) FROM ({PART_MATINGS}) WHERE kind = ?1 AND label = ?2 AND (session = '' OR session <> ?3)"
        );
        let counted: Vec<u32> = self.list(&sql, params![kind.name(), label, but], |row| row.get(0))?;
        Ok(counted.first().copied().unwrap_or(0))
    }

    /// Matings of one rig's lead since a day (`YYYY-MM-DD`; an earlier program's sessions are not among them).
    ///
    /// # Errors
    /// The database can't be read.
    pub fn lead_matings(&self, lead: &str, since: Option<&str>) -> Result<u32, IndexError> {
        let sql = "SELECT count(*) FROM outcomes WHERE number = 1 AND mating = 1 AND lead = ?1
                   AND (?2 IS NULL OR substr(judged, 1, length(?2)) >= ?2)";
        let counted: Vec<u32> = self.list(sql, params![lead, since], |row| row.get(0))?;
        Ok(counted.first().copied().unwrap_or(0))
    }

    /// Matings of every named part, most first.
    ///
    /// # Errors
    /// The database can't be read.
    pub fn all_part_matings(&self) -> Result<Vec<PartMatings>, IndexError> {
        let sql = format!(
            "SELECT kind, label, sum(matings) FROM ({PART_MATINGS}) WHERE label <> '' GROUP BY kind, label
             HAVING sum(matings) > 0 ORDER BY 3 DESC, 1, 2"
        );
        self.list(&sql, [], |row| {
            Ok(PartMatings { kind: row.get(0)?, label: row.get(1)?, count: row.get(2)? })
        })
    }

    /// Matings of every rig's lead since a day, most first.
    ///
    /// # Errors
    /// The database can't be read.
    pub fn all_lead_matings(&self, since: Option<&str>) -> Result<Vec<LeadMatings>, IndexError> {
        let sql = "SELECT lead, count(*) FROM outcomes WHERE number = 1 AND mating = 1 AND lead IS NOT NULL
                   AND (?1 IS NULL OR substr(judged, 1, length(?1)) >= ?1) GROUP BY lead ORDER BY 2 DESC, 1";
        self.list(sql, [since], |row| Ok(LeadMatings { lead: row.get(0)?, count: row.get(1)? }))
    }
}
