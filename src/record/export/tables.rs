//! Which tables a record is exported as.
//!
//! Most are the record's own, without what seals them: so what a later version records
//! is exported without a word here. A few are put together: the run as it stands, starts
//! with their ends, readings with a column for each quantity, ramps, figures of findings.

use super::super::seal::TABLES;
use super::super::{RecordError, Run};
use super::columns::{Column, Kind};

/// A table of the export.
#[derive(Clone, Debug)]
pub struct Table {
    /// Its name, and its file's.
    pub name: String,
    /// What a row is.
    pub about: String,
    /// Its columns, in order.
    pub columns: Vec<Column>,
    /// What reads it.
    pub(super) sql: String,
}

/// A table that is put together: its name, what a row is, its columns with what they come
/// from, and where the rows come from.
struct Made {
    name: &'static str,
    about: &'static str,
    columns: &'static [(&'static str, Kind, &'static str)],
    from: &'static str,
}

/// The record's tables that the made ones hold whole.
const HELD: [&str; 10] =
    ["trial_begin", "trial_end", "begun", "ended", "stage_begin", "stage_end", "reading", "start_begin", "start_end", "finding"];

/// The names of the others, where they are not the table's own, and what a row is.
const NAMED: [(&str, &str, &str); 10] = [
    ("resumed", "resumed", "that the run was taken up again"),
    ("file", "files", "a text that the run followed, whole"),
    ("instrument", "instruments", "an instrument, when it was opened"),
    ("preflight", "preflight", "what was made sure of before a stage, and how it was found"),
    ("setting", "settings", "a setting as wanted and as read back"),
    ("leakage", "leakage", "a step of a leakage sweep"),
    ("event", "events", "what happened beside the readings"),
    ("measure", "measures", "a quantity that a part of a lot was judged by, in the unit named beside it without prefix"),
    ("control", "controls", "a point of a control part's chart, in the unit named beside it without prefix"),
    ("mark", "marks", "what the operator said that was done to the unit"),
];

use Kind::{Integer, Moment, Real, Text};

const MADE: [Made; 8] = [
    Made {
        name: "run",
        about: "the run as it stands",
        columns: &[
            ("tool", Text, "tool"),
            ("kind", Text, "kind"),
            ("title", Text, "title"),
            ("unit", Text, "unit"),
            // All 64 bits, which many a reader of numbers has not.
            ("seed", Text, "printf('%u', seed)"),
            ("began_utc", Moment, "0.0"),
            ("ended_utc", Moment, "ended_s"),
            ("ended_s", Real, "ended_s"),
            ("how", Text, "how"),
            ("exit_code", Integer, "exit_code"),
            ("cautions", Text, "cautions"),
            ("fingerprint", Text, "(SELECT sha256 FROM batch ORDER BY number DESC LIMIT 1)"),
        ],
        from: "run",
    },
    Made {
        name: "stages",
        about: "a stage; without ended_s it was cut off",
        columns: &[
            ("number", Integer, "number"),
            ("kind", Text, "kind"),
            ("what", Text, "what"),
            ("began_utc", Moment, "began_s"),
            ("began_s", Real, "began_s"),
            ("ended_s", Real, "ended_s"),
            ("how", Text, "how"),
        ],
        from: "stage ORDER BY number",
    },
    Made {
        name: "readings",
        about: "a reading; its flag is 'value', or says what came instead of one",
        columns: &[
            ("stage", Integer, "stage"),
            ("start", Integer, "start"),
            ("step", Integer, "step"),
            ("role", Text, "role"),
            ("measurand", Text, "measurand"),
            ("answered_utc", Moment, "answered_s"),
            ("asked_s", Real, "asked_s"),
            ("answered_s", Real, "answered_s"),
            ("flag", Text, "kind"),
            ("voltage_V", Real, "CASE measurand WHEN 'voltage' THEN value END"),
            ("voltage_u_V", Real, "CASE measurand WHEN 'voltage' THEN u END"),
            ("voltage_floor_V", Real, "CASE measurand WHEN 'voltage' THEN floor END"),
            ("current_A", Real, "CASE measurand WHEN 'current' THEN value END"),
            ("current_u_A", Real, "CASE measurand WHEN 'current' THEN u END"),
            ("current_floor_A", Real, "CASE measurand WHEN 'current' THEN floor END"),
            ("regulation", Text, "regulation"),
        ],
        from: "reading ORDER BY rowid",
    },
    Made {
        name: "ramp",
        about: "a current on a ramp, with the voltage at the supply before it",
        columns: &[
            ("stage", Integer, "c.stage"),
            ("step", Integer, "c.step"),
            ("role", Text, "c.role"),
            ("answered_utc", Moment, "c.answered_s"),
            ("answered_s", Real, "c.answered_s"),
            ("voltage_V", Real, "v.value"),
            ("voltage_u_V", Real, "v.u"),
            ("voltage_flag", Text, "v.kind"),
            ("current_A", Real, "c.value"),
            ("current_u_A", Real, "c.u"),
            ("current_floor_A", Real, "c.floor"),
            ("current_flag", Text, "c.kind"),
            ("regulation", Text, "c.regulation"),
        ],
        // Beside each current of a ramp the rowid of the last voltage before it.
        from: "(SELECT r.*, max(CASE WHEN r.measurand = 'voltage' AND r.role = 'supply' THEN r.rowid END)
                OVER (PARTITION BY r.stage ORDER BY r.rowid) AS beside, r.rowid AS row
                FROM reading r JOIN stage s ON s.number = r.stage AND s.kind = 'ramp') c
               LEFT JOIN reading v ON v.rowid = c.beside WHERE c.measurand = 'current' ORDER BY c.row",
    },
    Made {
        name: "starts",
        about: "a start; one without an outcome was cut off, and is void",
        columns: &[
            ("stage", Integer, "stage"),
            ("number", Integer, "number"),
            ("on_utc", Moment, "on_s"),
            ("on_s", Real, "on_s"),
            ("off_wanted_s", Real, "off_wanted_s"),
            ("off_s", Real, "off_s"),
            ("off_note", Text, "off_note"),
            ("residual_V", Real, "residual_V"),
            ("residual_flag", Text, "residual_kind"),
            ("outcome", Text, "outcome"),
            ("counts", Text, "coalesce(counts, 'void')"),
            ("state", Text, "state"),
            ("reached_s", Real, "reached_s"),
            ("plateau_A", Real, "plateau_A"),
            ("plateau_u_A", Real, "plateau_u_A"),
            ("plateau_flag", Text, "plateau_kind"),
            ("peak_A", Real, "peak_A"),
            ("limited_s", Real, "limited_s"),
            ("held_from_V", Real, "held_from_V"),
            ("held_V", Real, "held_V"),
            ("reason", Text, "reason"),
        ],
        from: "start ORDER BY stage, number",
    },
    Made {
        name: "parts",
        about: "a trial of a part of a lot, or of a control; one without an outcome was cut off, and is void",
        columns: &[
            ("trial", Integer, "number"),
            ("kind", Text, "kind"),
            ("name", Text, "name"),
            ("position", Integer, "position"),
            ("retest_of", Integer, "retest_of"),
            ("retest_why", Text, "retest_why"),
            ("first_stage", Integer, "first_stage"),
            ("last_stage", Integer, "last_stage"),
            ("began_utc", Moment, "began_s"),
            ("began_s", Real, "began_s"),
            ("ended_s", Real, "ended_s"),
            ("outcome", Text, "outcome"),
            ("why", Text, "why"),
            ("doubted_by", Integer, "doubted"),
        ],
        from: "trial ORDER BY number",
    },
    Made {
        name: "findings",
        about: "a finding; holds is 0 for one that a later stretch judged anew",
        columns: &[
            ("number", Integer, "rowid"),
            ("stretch", Integer, "stretch"),
            ("stage", Integer, "stage"),
            ("code", Text, "code"),
            ("severity", Text, "severity"),
            ("sentence", Text, "sentence"),
            ("advice", Text, "advice"),
            (
                "holds",
                Integer,
                "stage IS NULL OR code = 'tripped'
                 OR stretch = (SELECT max(stretch) FROM stage_begin b WHERE b.number = finding.stage)",
            ),
        ],
        from: "finding ORDER BY rowid",
    },
    Made {
        name: "figures",
        about: "a figure of a finding, in the unit named beside it without prefix; expanded is its expanded uncertainty",
        columns: &[
            ("finding", Integer, "f.rowid"),
            ("stage", Integer, "f.stage"),
            ("code", Text, "f.code"),
            ("name", Text, "j.value ->> 'name'"),
            ("value", Real, "CAST(j.value ->> 'value' AS REAL)"),
            ("unit", Text, "j.value ->> 'unit'"),
            ("expanded", Real, "CAST(j.value ->> 'expanded' AS REAL)"),
            ("low", Real, "CAST(j.value ->> '$.interval[0]' AS REAL)"),
            ("high", Real, "CAST(j.value ->> '$.interval[1]' AS REAL)"),
            ("confidence", Real, "CAST(j.value ->> '$.interval[2]' AS REAL)"),
        ],
        from: "finding f, json_each(f.figures) j ORDER BY f.rowid, j.key",
    },
];

/// All tables of a record, in an order that does not change.
///
/// # Errors
/// SQLite's.
pub fn tables(run: &Run) -> Result<Vec<Table>, RecordError> {
    let mut all: Vec<Table> = MADE.iter().map(made).collect();
    for table in TABLES.iter().filter(|t| !HELD.contains(t)) {
        all.push(own(run, table)?);
    }
    Ok(all)
}

fn made(made: &Made) -> Table {
    let select: Vec<String> = made.columns.iter().map(|(name, _, from)| format!("{from} AS \"{name}\"")).collect();
    Table {
        name: made.name.to_owned(),
        about: made.about.to_owned(),
        columns: made.columns.iter().map(|(name, kind, _)| Column { name: (*name).to_owned(), kind: *kind }).collect(),
        sql: format!("SELECT {} FROM {}", select.join(", "), made.from),
    }
}

/// A table as the record has it, but for what seals it; its first time of the run is
/// given in UTC, too.
fn own(run: &Run, table: &str) -> Result<Table, RecordError> {
    let (name, about) = NAMED
        .iter()
        .find(|n| n.0 == table)
        .map_or_else(|| (table.to_owned(), format!("a row of the record's table {table}")), |n| (n.1.to_owned(), n.2.to_owned()));
    let sql = format!("SELECT name, type FROM pragma_table_info('{table}')");
    let described = run.rows(&sql, None, |r| Ok((r.get::<_, String>(0)?, r.get::<_, String>(1)?)))?;
    let (mut columns, mut select) = (Vec::new(), Vec::new());
    for (column, kind) in described.into_iter().filter(|(name, _)| name != "batch" && name != "seal") {
        if column == "at_s" {
            select.push(column.clone());
            columns.push(Column { name: "at_utc".into(), kind: Moment });
        }
        let kind = match kind.as_str() {
            "INTEGER" => Integer,
            "REAL" => Real,
            _ => Text,
        };
        // What came instead of a value is called the same everywhere.
        let is_flag = column.ends_with("kind") && ["leakage", "measure"].contains(&table);
        let name = if is_flag { column.replace("kind", "flag") } else { column.clone() };
        select.push(format!("\"{column}\""));
        columns.push(Column { name, kind });
    }
    Ok(Table { name, about, columns, sql: format!("SELECT {} FROM {table} ORDER BY rowid", select.join(", ")) })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Nothing of the record is left out: each column of the tables that are put together
    /// anew stands in one of them.
    #[test]
    fn the_made_tables_hold_every_column_of_the_records_own() {
        let store = rusqlite::Connection::open_in_memory().unwrap();
        store.execute_batch(super::super::super::SCHEMA).unwrap();
        let texts: String = MADE.iter().flat_map(|m| m.columns.iter().map(|c| c.2).chain([m.from])).collect::<Vec<_>>().join(" ");
        let words: Vec<&str> = texts.split(|c: char| !c.is_alphanumeric() && c != '_').collect();
        for table in HELD {
            assert!(TABLES.contains(&table));
            let mut columns = store.prepare(&format!("SELECT name FROM pragma_table_info('{table}')")).unwrap();
            let columns: Vec<String> = columns.query_map([], |r| r.get(0)).unwrap().map(Result::unwrap).collect();
            for column in columns.iter().filter(|c| !["batch", "seal"].contains(&c.as_str())) {
                // The beginning of the run is its second 0.
                let known = words.contains(&column.as_str()) || column == "began" || column == "at_s";
                assert!(known, "{table}.{column} is exported nowhere");
            }
        }
    }
}
