-- The record of one run. Units stand in the column names (_s seconds since the
-- run began, _V volts, _A amperes). A missing reading is never a number: its
-- value is NULL and its kind says what came instead.
--
-- Assumes: one writer; WAL; every batch of rows is one transaction, committed
-- at the latest 50 ms after its first row.
--
-- Rows are only ever added. The last two columns of every table say in which
-- batch a row was committed, and hold its seal: the first 8 bytes of the row's
-- digest (seal.rs says of what). What began and what ended are rows of their
-- own; the views `run`, `stage` and `start` put them together.

PRAGMA user_version = 4;

-- One row a commit; each hash covers the rows of its batch and the hash before.
CREATE TABLE batch (
  number  INTEGER PRIMARY KEY, -- from 1
  rows    INTEGER NOT NULL,    -- how many rows it holds, in all tables
  sha256  TEXT NOT NULL        -- FIPS 180-4, in hexadecimal
) STRICT;

-- One row: what was run, when, by which version.
CREATE TABLE begun (
  tool        TEXT NOT NULL,   -- name and version
  kind        TEXT NOT NULL,   -- 'run', or 'rehearsal' on stand-in instruments
  title       TEXT NOT NULL,   -- the plan's
  unit        TEXT NOT NULL,   -- the unit's name
  seed        INTEGER NOT NULL,-- every random choice follows from it
  began       TEXT NOT NULL,   -- wall clock, RFC 3339; in rehearsal a made-up date
  cautions    TEXT NOT NULL,   -- warnings of the check, before power
  batch       INTEGER NOT NULL,
  seal        BLOB NOT NULL
) STRICT;

-- A run that was cut short and taken up again; the stretch up to the first is number 1.
CREATE TABLE resumed (
  stretch     INTEGER NOT NULL,-- from 2
  at_s        REAL NOT NULL,   -- where the run's time goes on
  gap_s       REAL NOT NULL,   -- since the last row before
  wall        TEXT NOT NULL,   -- wall clock, RFC 3339
  tool        TEXT NOT NULL,   -- name and version
  differs     TEXT NOT NULL,   -- what differs from before, as the user allowed; or ''
  batch       INTEGER NOT NULL,
  seal        BLOB NOT NULL
) STRICT;

-- How a stretch ended. None for the last stretch: it was cut off.
CREATE TABLE ended (
  stretch     INTEGER NOT NULL,
  at_s        REAL NOT NULL,
  how         TEXT NOT NULL,
  exit_code   INTEGER NOT NULL,-- as `run` returns it; `rehearse` returns 0 for 1 and 5
  batch       INTEGER NOT NULL,
  seal        BLOB NOT NULL
) STRICT;

-- The texts that the run followed: plan, bench, profiles; what a rehearsal was made of.
CREATE TABLE file (
  stretch INTEGER NOT NULL,    -- from which on it was followed
  kind    TEXT NOT NULL,       -- 'plan', 'bench', 'profile', 'unit', 'lot'
  name    TEXT NOT NULL,
  text    TEXT NOT NULL,
  sha256  TEXT NOT NULL,       -- of the text, FIPS 180-4, in hexadecimal
  batch   INTEGER NOT NULL,
  seal    BLOB NOT NULL
) STRICT;

CREATE TABLE instrument (
  stretch          INTEGER NOT NULL, -- in which it was opened
  role             TEXT NOT NULL, -- 'supply', 'meter'
  identity         TEXT,          -- as it answered; NULL where it has none
  profile          TEXT NOT NULL,
  address          TEXT,
  calibration_due  TEXT,          -- date, from the bench file
  batch            INTEGER NOT NULL,
  seal             BLOB NOT NULL
) STRICT;

CREATE TABLE stage_begin (
  stretch  INTEGER NOT NULL,
  number   INTEGER NOT NULL,    -- from 1, in the plan's order; with a lot it goes on from trial to trial
  kind     TEXT NOT NULL,       -- 'ramp', 'log', 'start', 'leakage', 'ask'
  what     TEXT NOT NULL,       -- one line
  began_s  REAL NOT NULL,
  batch    INTEGER NOT NULL,
  seal     BLOB NOT NULL
) STRICT;

CREATE TABLE stage_end (
  stretch  INTEGER NOT NULL,
  number   INTEGER NOT NULL,
  ended_s  REAL NOT NULL,
  how      TEXT NOT NULL,
  batch    INTEGER NOT NULL,
  seal     BLOB NOT NULL
) STRICT;

-- What was made sure of before a stage was energised.
CREATE TABLE preflight (
  stage  INTEGER NOT NULL,
  at_s   REAL NOT NULL,
  what   TEXT NOT NULL,
  found  TEXT NOT NULL,
  good   INTEGER NOT NULL,      -- 0: nothing was energised
  batch  INTEGER NOT NULL,
  seal   BLOB NOT NULL
) STRICT;

-- What was set, and what the instrument read back.
CREATE TABLE setting (
  stage      INTEGER NOT NULL,
  at_s       REAL NOT NULL,
  what       TEXT NOT NULL,     -- 'voltage', 'current limit', 'meter range' ...
  unit       TEXT NOT NULL,     -- 'V', 'A'
  wanted     REAL NOT NULL,
  read_back  REAL,              -- NULL where the dialect cannot ask
  batch      INTEGER NOT NULL,
  seal       BLOB NOT NULL
) STRICT;

CREATE TABLE reading (
  stage       INTEGER NOT NULL,
  start       INTEGER,          -- number of the start, in a start stage
  step        INTEGER,          -- number of the step, in a ramp or a sweep; in a log, of the span under power
  role        TEXT NOT NULL,    -- who read it
  measurand   TEXT NOT NULL,    -- 'voltage' or 'current'
  asked_s     REAL NOT NULL,
  answered_s  REAL NOT NULL,
  kind        TEXT NOT NULL,    -- 'value', 'below floor', 'overload', 'no reply', 'late', 'garbled', 'stale', 'not a number'
  value       REAL,             -- V or A; only where kind is 'value'
  u           REAL,             -- its standard uncertainty, same unit
  floor       REAL,             -- V or A; only where kind is 'below floor'
  regulation  TEXT NOT NULL,    -- what the supply said of its limiting beside it
  batch       INTEGER NOT NULL,
  seal        BLOB NOT NULL
) STRICT;

CREATE TABLE start_begin (
  stage           INTEGER NOT NULL,
  number          INTEGER NOT NULL, -- from 1
  off_wanted_s    REAL NOT NULL,
  off_note        TEXT,             -- what has made it another, as the computer's sleep
  residual_V      REAL,             -- left at the unit before it; NULL: residual_kind says why
  residual_kind   TEXT,
  batch           INTEGER NOT NULL,
  seal            BLOB NOT NULL,
  PRIMARY KEY (stage, number)
) STRICT;

CREATE TABLE start_end (
  stage           INTEGER NOT NULL,
  number          INTEGER NOT NULL,
  off_s           REAL,             -- time without power as it was; NULL before the first of a stage
  on_s            REAL,             -- when it was switched on
  outcome         TEXT NOT NULL,
  counts          TEXT NOT NULL,    -- 'good', 'failed', 'void'
  state           TEXT,             -- declared state at its end
  reached_s       REAL,             -- time until the good state was first reached
  plateau_A       REAL,             -- current at its end
  plateau_u_A     REAL,
  plateau_kind    TEXT NOT NULL,
  peak_A          REAL,             -- largest value seen
  limited_s       REAL NOT NULL,    -- longest stretch in limiting
  held_from_V     REAL,             -- of one that ended in limiting: the voltage when its last quarter began,
  held_V          REAL,             -- and at its end
  reason          TEXT NOT NULL,
  batch           INTEGER NOT NULL,
  seal            BLOB NOT NULL,
  PRIMARY KEY (stage, number)
) STRICT;

CREATE TABLE leakage (
  stage          INTEGER NOT NULL,
  step           INTEGER NOT NULL, -- from 1
  part           TEXT NOT NULL,
  set_V          REAL NOT NULL,
  part_V         REAL,             -- really at the part
  part_u_V       REAL,             -- its standard uncertainty
  leakage_A      REAL,             -- at the electrification time, less the null
  leakage_u_A    REAL,
  leakage_kind   TEXT NOT NULL,
  limit_A        REAL NOT NULL,
  electrified_s  REAL NOT NULL,    -- time under bias when it was read
  change         REAL,             -- relative, over the last third of the soak
  drift_A        REAL,             -- C dV/dt of the supply's own drift
  drift_u_A      REAL,
  told           TEXT,             -- 'settled', 'apart' (leakage from absorption), 'bound' (an upper one alone)
  steady_A       REAL,             -- leakage without absorption, I = steady + absorbed (t / 1 s)^-exponent
  steady_low_A   REAL,             -- its limits, each one-sided, 95 %
  steady_high_A  REAL,
  absorbed_A     REAL,             -- absorption current at 1 s
  exponent       REAL,
  scatter_A      REAL,             -- standard deviation of the readings about it
  wander         TEXT,             -- 'quiet', 'telegraph', 'jumps', 'rises'
  wander_A       REAL,             -- its size; of a quiet one what would have been seen
  wander_u_A     REAL,
  wander_s       REAL,             -- mean stay in a level, or when the largest jump came
  wander_n       INTEGER,          -- how often
  fell_from_A    REAL,             -- of a leakage that itself falls: its first value,
  fell_from_s    REAL,             -- when that was, under bias,
  fell_C         REAL,             -- the charge in the fall,
  absorbed_C     REAL,             -- the most that absorption could have carried,
  pace_per_s     REAL,             -- and how fast it falls in the end, -d ln I / dt
  batch          INTEGER NOT NULL,
  seal           BLOB NOT NULL,
  PRIMARY KEY (stage, step)
) STRICT;

CREATE TABLE event (
  at_s   REAL NOT NULL,
  kind   TEXT NOT NULL,         -- 'permit', 'off', 'trip', 'question', 'answer', 'halt' ...
  text   TEXT NOT NULL,
  batch  INTEGER NOT NULL,
  seal   BLOB NOT NULL
) STRICT;

-- What the operator said without having been asked: what was done to the unit just then.
CREATE TABLE mark (
  at_s   REAL NOT NULL,
  text   TEXT NOT NULL,         -- as it was typed
  batch  INTEGER NOT NULL,
  seal   BLOB NOT NULL
) STRICT;

CREATE TABLE finding (
  stretch   INTEGER NOT NULL,   -- in which its stage was judged
  stage     INTEGER,            -- NULL: about the whole run
  code      TEXT NOT NULL,
  severity  TEXT NOT NULL,      -- 'anomaly', 'undecided', 'note'
  sentence  TEXT NOT NULL,
  advice    TEXT,
  figures   TEXT NOT NULL,      -- JSON: [{name, value, unit, expanded, interval}]
  batch     INTEGER NOT NULL,
  seal      BLOB NOT NULL
) STRICT;

-- A lot whose parts were measured one after the other, each by all stages of the plan.
-- One row a stretch; none in a run without a lot.
CREATE TABLE lot (
  stretch    INTEGER NOT NULL,
  number     TEXT NOT NULL,
  supplier   TEXT,
  part       TEXT NOT NULL,      -- the maker's or one's own name of the part
  date_code  TEXT,
  quantity   INTEGER NOT NULL,   -- parts in the lot
  operator   TEXT NOT NULL,
  fixture    TEXT,
  sample     INTEGER NOT NULL,   -- how many are to be judged
  accept     INTEGER NOT NULL,   -- accepted with up to so many nonconforming parts
  reject     INTEGER NOT NULL,   -- refused from so many on
  stops      TEXT NOT NULL,      -- 'at the end', 'when decided'
  sampled    TEXT NOT NULL,      -- where the numbers come from, in words
  rule       TEXT NOT NULL,      -- the guard band: 'w = U', 'w = 0.83 U' ...
  counting   TEXT NOT NULL,      -- which trial of a part counts: 'worst', 'last'
  overdue    TEXT,               -- why an expired calibration was let pass; NULL: none was
  batch      INTEGER NOT NULL,
  seal       BLOB NOT NULL
) STRICT;

-- The parts in the order in which they are taken, the sample first; what follows stands
-- in for what is skipped.
CREATE TABLE drawn (
  turn       INTEGER NOT NULL,   -- from 1
  position   INTEGER NOT NULL,   -- in the lot, from 1
  name       TEXT NOT NULL,      -- serial, or else the position
  batch      INTEGER NOT NULL,
  seal       BLOB NOT NULL
) STRICT;

-- One insertion of a part or of a control part; further ones of the same part are retests.
CREATE TABLE trial_begin (
  number      INTEGER NOT NULL,  -- from 1, controls and retests among them
  kind        TEXT NOT NULL,     -- 'part', 'good control', 'bad control'
  name        TEXT NOT NULL,
  position    INTEGER,           -- in the lot; NULL of a control
  retest_of   INTEGER,           -- the part's first trial; NULL: this is the first
  why         TEXT,              -- of a retest
  first_stage INTEGER NOT NULL,  -- its stages: from this number,
  last_stage  INTEGER NOT NULL,  -- to this
  at_s        REAL NOT NULL,
  batch       INTEGER NOT NULL,
  seal        BLOB NOT NULL
) STRICT;

CREATE TABLE trial_end (
  number      INTEGER NOT NULL,
  at_s        REAL NOT NULL,
  outcome     TEXT NOT NULL,     -- 'pass', 'conditional pass', 'conditional fail', 'fail', 'not adequate', 'void'
  why         TEXT NOT NULL,     -- the quantity that decided, in words
  batch       INTEGER NOT NULL,
  seal        BLOB NOT NULL
) STRICT;

-- What a trial was judged by, each quantity against its limit.
CREATE TABLE measure (
  trial      INTEGER NOT NULL,
  stage      INTEGER NOT NULL,   -- number of the stage in the record
  plan_stage INTEGER NOT NULL,   -- and in the plan
  step       INTEGER,            -- of a sweep
  what       TEXT NOT NULL,      -- 'leakage at 16 V'
  unit       TEXT,               -- 'A'; NULL of a count
  kind       TEXT NOT NULL,      -- 'value', 'below floor', 'overload', 'no reading'
  value      REAL,               -- only where kind is 'value'
  u          REAL,               -- its standard uncertainty
  floor      REAL,               -- only where kind is 'below floor'
  low        REAL,               -- least that is accepted; NULL: no lower limit
  high       REAL,               -- most that is accepted; NULL: no upper limit
  guard      REAL,               -- width of the guard band
  outcome    TEXT NOT NULL,      -- as of a trial
  charted    INTEGER NOT NULL,   -- 1: the one of the trial that is charted and compared within the lot
  batch      INTEGER NOT NULL,
  seal       BLOB NOT NULL
) STRICT;

-- What the operator has acknowledged of a trial: that the part is discharged, in, the right way round.
CREATE TABLE acknowledged (
  trial      INTEGER,            -- NULL: for all of the lot
  at_s       REAL NOT NULL,
  what       TEXT NOT NULL,      -- 'discharged', 'inserted', 'polarity'
  how        TEXT NOT NULL,      -- the answer
  batch      INTEGER NOT NULL,
  seal       BLOB NOT NULL
) STRICT;

-- A part that was left out.
CREATE TABLE skipped (
  position   INTEGER NOT NULL,
  name       TEXT NOT NULL,
  at_s       REAL NOT NULL,
  why        TEXT NOT NULL,
  batch      INTEGER NOT NULL,
  seal       BLOB NOT NULL
) STRICT;

-- A trial of a control part as a point of its chart.
CREATE TABLE control (
  trial      INTEGER NOT NULL,
  name       TEXT NOT NULL,
  kind       TEXT NOT NULL,      -- 'good control', 'bad control'
  what       TEXT NOT NULL,      -- the quantity that is charted
  unit       TEXT,
  value      REAL,               -- NULL: it could not be read
  u          REAL,
  centre     REAL,               -- of the chart as it stood then; NULL: too few points
  sigma      REAL,
  basis      TEXT NOT NULL,      -- 'stated', 'earlier lots', 'this lot', 'none'
  points     INTEGER NOT NULL,   -- how many the limits rest on
  signals    TEXT NOT NULL,      -- what it broke, separated by '; '; or ''
  state      TEXT NOT NULL,      -- 'in control', 'out of control'
  batch      INTEGER NOT NULL,
  seal       BLOB NOT NULL
) STRICT;

-- A trial that does not count: it came after the last good control before one that failed.
CREATE TABLE doubted (
  trial      INTEGER NOT NULL,
  control    INTEGER NOT NULL,   -- the trial of the control that failed
  batch      INTEGER NOT NULL,
  seal       BLOB NOT NULL
) STRICT;

-- What came of the lot. The last row holds.
CREATE TABLE lot_end (
  stretch        INTEGER NOT NULL,
  at_s           REAL NOT NULL,
  outcome        TEXT NOT NULL,    -- 'accepted', 'refused', 'on hold'
  why            TEXT NOT NULL,
  judged         INTEGER NOT NULL, -- parts
  nonconforming  INTEGER NOT NULL, -- of these: fail and conditional fail
  not_adequate   INTEGER NOT NULL,
  doubtful       INTEGER NOT NULL,
  skipped        INTEGER NOT NULL,
  open           INTEGER NOT NULL, -- not yet measured
  batch          INTEGER NOT NULL,
  seal           BLOB NOT NULL
) STRICT;

-- The run as it stands: ended_s is NULL where its last stretch was cut off.
CREATE VIEW run AS
  SELECT b.tool, b.kind, b.title, b.unit, b.seed, b.began, b.cautions, e.at_s AS ended_s, e.how, e.exit_code
  FROM begun b LEFT JOIN ended e
  ON e.stretch = (SELECT coalesce(max(stretch), 1) FROM resumed);

-- A stage as it stands: ended_s is NULL where it was cut off.
CREATE VIEW stage AS
  SELECT b.number, b.kind, b.what, min(b.began_s) AS began_s, e.ended_s, e.how
  FROM stage_begin b LEFT JOIN stage_end e
  ON e.number = b.number AND e.stretch = (SELECT max(stretch) FROM stage_begin WHERE number = b.number)
  GROUP BY b.number;

-- A start; outcome and what follows is NULL where the run ended during it: it is void.
CREATE VIEW start AS
  SELECT b.stage, b.number, b.off_wanted_s, b.off_note, e.off_s, b.residual_V, b.residual_kind, e.on_s, e.outcome, e.counts,
         e.state, e.reached_s, e.plateau_A, e.plateau_u_A, e.plateau_kind, e.peak_A, e.limited_s, e.held_from_V, e.held_V, e.reason
  FROM start_begin b LEFT JOIN start_end e ON e.stage = b.stage AND e.number = b.number;

-- A trial; outcome is NULL where the run ended during it: it is void. doubted: the
-- control's trial by which it does not count.
CREATE VIEW trial AS
  SELECT b.number, b.kind, b.name, b.position, b.retest_of, b.why AS retest_why, b.first_stage, b.last_stage, b.at_s AS began_s,
         e.at_s AS ended_s, e.outcome, e.why, (SELECT min(d.control) FROM doubted d WHERE d.trial = b.number) AS doubted
  FROM trial_begin b LEFT JOIN trial_end e ON e.number = b.number;
