-- The record of one run. Units stand in the column names (_s seconds since the
-- run began, _V volts, _A amperes). A missing reading is never a number: its
-- value is NULL and its kind says what came instead.
--
-- Assumes: one writer; WAL; every batch of rows is one transaction, committed
-- at the latest 50 ms after its first row.

PRAGMA user_version = 1;

-- One row: what was run, when, by which version.
CREATE TABLE run (
  tool        TEXT NOT NULL,   -- name and version
  kind        TEXT NOT NULL,   -- 'run', or 'rehearsal' on stand-in instruments
  title       TEXT NOT NULL,   -- the plan's
  unit        TEXT NOT NULL,   -- the unit's name
  seed        INTEGER NOT NULL,-- every random choice follows from it
  began       TEXT NOT NULL,   -- wall clock, RFC 3339; in rehearsal a made-up date
  cautions    TEXT NOT NULL,   -- warnings of the check, before power
  ended_s     REAL,            -- NULL: the run was cut off
  how         TEXT,            -- how it ended
  exit_code   INTEGER          -- as the process returned it
) STRICT;

-- The texts that the run followed: plan, bench, profiles; what a rehearsal was made of.
CREATE TABLE file (
  kind    TEXT NOT NULL,       -- 'plan', 'bench', 'profile', 'unit'
  name    TEXT NOT NULL,
  text    TEXT NOT NULL,
  sha256  TEXT NOT NULL        -- of the text, FIPS 180-4, in hexadecimal
) STRICT;

CREATE TABLE instrument (
  role             TEXT NOT NULL, -- 'supply', 'meter'
  identity         TEXT,          -- as it answered; NULL where it has none
  profile          TEXT NOT NULL,
  address          TEXT,
  calibration_due  TEXT           -- date, from the bench file
) STRICT;

CREATE TABLE stage (
  number   INTEGER PRIMARY KEY, -- from 1, in the plan's order
  kind     TEXT NOT NULL,       -- 'ramp', 'log', 'start', 'leakage', 'ask'
  what     TEXT NOT NULL,       -- one line
  began_s  REAL NOT NULL,
  ended_s  REAL,                -- NULL: cut off
  how      TEXT
) STRICT;

-- What was set, and what the instrument read back.
CREATE TABLE setting (
  stage      INTEGER NOT NULL,
  at_s       REAL NOT NULL,
  what       TEXT NOT NULL,     -- 'voltage', 'current limit', 'meter range' ...
  unit       TEXT NOT NULL,     -- 'V', 'A'
  wanted     REAL NOT NULL,
  read_back  REAL               -- NULL where the dialect cannot ask
) STRICT;

CREATE TABLE reading (
  id          INTEGER PRIMARY KEY,
  stage       INTEGER NOT NULL,
  start       INTEGER,          -- number of the start, in a start stage
  step        INTEGER,          -- number of the step, in a ramp or a sweep
  role        TEXT NOT NULL,    -- who read it
  measurand   TEXT NOT NULL,    -- 'voltage' or 'current'
  asked_s     REAL NOT NULL,
  answered_s  REAL NOT NULL,
  kind        TEXT NOT NULL,    -- 'value', 'below floor', 'overload', 'no reply', 'late', 'garbled', 'stale', 'not a number'
  value       REAL,             -- V or A; only where kind is 'value'
  u           REAL,             -- its standard uncertainty, same unit
  floor       REAL,             -- V or A; only where kind is 'below floor'
  regulation  TEXT NOT NULL     -- what the supply said of its limiting beside it
) STRICT;

CREATE TABLE start (
  stage           INTEGER NOT NULL,
  number          INTEGER NOT NULL, -- from 1
  off_wanted_s    REAL NOT NULL,
  off_s           REAL,             -- as it was; NULL before the first of a stage
  residual_V      REAL,             -- left at the unit before it; NULL: residual_kind says why
  residual_kind   TEXT,
  on_s            REAL,             -- when it was switched on
  outcome         TEXT,             -- NULL: the run ended during it, so it is void
  counts          TEXT,             -- 'good', 'failed', 'void'
  state           TEXT,             -- declared state at its end
  reached_s       REAL,             -- time until the good state was first reached
  plateau_A       REAL,             -- current at its end
  plateau_u_A     REAL,
  plateau_kind    TEXT,
  peak_A          REAL,             -- largest value seen
  limited_s       REAL,             -- longest stretch in limiting
  reason          TEXT,
  PRIMARY KEY (stage, number)
) STRICT;

CREATE TABLE leakage (
  stage          INTEGER NOT NULL,
  step           INTEGER NOT NULL, -- from 1
  part           TEXT NOT NULL,
  set_V          REAL NOT NULL,
  part_V         REAL,             -- really at the part
  leakage_A      REAL,
  leakage_u_A    REAL,
  leakage_kind   TEXT NOT NULL,
  limit_A        REAL NOT NULL,
  electrified_s  REAL NOT NULL,    -- time under bias when it was read
  change         REAL,             -- relative, over the last third of the soak
  drift_A        REAL,             -- C dV/dt of the supply's own drift
  PRIMARY KEY (stage, step)
) STRICT;

CREATE TABLE event (
  at_s  REAL NOT NULL,
  kind  TEXT NOT NULL,          -- 'permit', 'off', 'trip', 'question', 'answer', 'halt' ...
  text  TEXT NOT NULL
) STRICT;

CREATE TABLE finding (
  stage     INTEGER,            -- NULL: about the whole run
  code      TEXT NOT NULL,
  severity  TEXT NOT NULL,      -- 'anomaly', 'undecided', 'note'
  sentence  TEXT NOT NULL,
  advice    TEXT,
  figures   TEXT NOT NULL       -- JSON: [{name, value, unit, expanded, interval}]
) STRICT;
