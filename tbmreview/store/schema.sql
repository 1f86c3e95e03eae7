-- The catalogue of a drive folder. Times are whole microseconds since 1970-01-01T00:00Z.
-- What a person decided is never changed or removed: 'current' is a view over what was written.

PRAGMA user_version = 6;       -- the schema's version

CREATE TABLE setup (            -- a copy of each drive.toml under which something was written
    sha256 TEXT PRIMARY KEY,
    text TEXT NOT NULL,
    first_used_us INTEGER NOT NULL
);

CREATE TABLE source (           -- each log file that was taken in
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    size INTEGER NOT NULL,
    sha256 TEXT NOT NULL,
    added_us INTEGER NOT NULL,
    columns TEXT NOT NULL,      -- the column map used, JSON
    rows_read INTEGER NOT NULL,
    kept INTEGER NOT NULL,
    duplicates INTEGER NOT NULL,
    quarantined TEXT NOT NULL,  -- rows by reason, JSON
    repairs TEXT NOT NULL       -- what was repaired, and how often, JSON
);

CREATE TABLE quarantine (       -- rows that were not taken in
    source INTEGER NOT NULL REFERENCES source (id),
    line INTEGER,               -- counted from 1; NULL where the file has no lines
    reason TEXT NOT NULL,
    text TEXT NOT NULL,
    time_us INTEGER             -- its stamp; NULL where that was not read or is not told
);

CREATE TABLE conflict (         -- rows whose stamp was there already, with other values
    source INTEGER NOT NULL REFERENCES source (id),
    time_us INTEGER NOT NULL,
    channel TEXT NOT NULL,      -- the first channel, by name, that differs
    kept REAL NOT NULL,
    offered REAL NOT NULL,
    channels INTEGER NOT NULL   -- how many differ
);

CREATE TABLE chunk (
    id INTEGER PRIMARY KEY,
    utc_day INTEGER NOT NULL,   -- days since 1970-01-01
    path TEXT NOT NULL,         -- below the drive folder
    rows INTEGER NOT NULL,
    first_us INTEGER NOT NULL,
    last_us INTEGER NOT NULL,
    channels TEXT NOT NULL,     -- JSON list
    content_hash TEXT NOT NULL, -- of the canonical content
    file_sha256 TEXT NOT NULL,
    added_us INTEGER NOT NULL,
    superseded_us INTEGER       -- NULL while it is the day's chunk; its file goes with the next write
);
CREATE UNIQUE INDEX one_chunk_a_day ON chunk (utc_day) WHERE superseded_us IS NULL;
CREATE VIEW current_chunk AS SELECT * FROM chunk WHERE superseded_us IS NULL;

CREATE TABLE ground (
    id INTEGER PRIMARY KEY,
    kind TEXT NOT NULL,
    name TEXT NOT NULL,
    issued TEXT NOT NULL,       -- a date, '' where none was given
    added_us INTEGER NOT NULL,
    source_name TEXT NOT NULL,
    source_sha256 TEXT NOT NULL
);
CREATE UNIQUE INDEX a_prediction_stays ON ground (name) WHERE kind = 'predicted';
CREATE TABLE ground_interval (
    ground INTEGER NOT NULL REFERENCES ground (id),
    number INTEGER NOT NULL,    -- in the order of the axis
    content TEXT NOT NULL,      -- JSON: column -> value, null where not given
    PRIMARY KEY (ground, number)
);
CREATE VIEW current_ground AS
    SELECT * FROM ground WHERE id IN (SELECT max(id) FROM ground GROUP BY kind, name);

CREATE TABLE finding (          -- what the detectors noticed last
    id TEXT PRIMARY KEY,
    kind TEXT NOT NULL,
    position_from_m REAL NOT NULL,
    position_to_m REAL NOT NULL,
    start_us INTEGER NOT NULL,
    end_us INTEGER NOT NULL,
    strength REAL NOT NULL,
    evidence TEXT NOT NULL,
    figures TEXT NOT NULL       -- JSON: name -> number
);

CREATE TABLE numbered (         -- the highest number ever given, so that none is given twice
    what TEXT PRIMARY KEY,      -- 'finding'
    highest INTEGER NOT NULL
);

CREATE TABLE verdict (          -- each judgement of a finding, the last one counts
    number INTEGER PRIMARY KEY,
    finding TEXT NOT NULL,
    verdict TEXT NOT NULL,
    decided_by TEXT NOT NULL,
    decided_us INTEGER NOT NULL,
    note TEXT NOT NULL
);
CREATE VIEW current_verdict AS
    SELECT * FROM verdict WHERE number IN (SELECT max(number) FROM verdict GROUP BY finding);

CREATE TABLE history (          -- who did what, when
    number INTEGER PRIMARY KEY,
    who TEXT NOT NULL,
    when_us INTEGER NOT NULL,
    what TEXT NOT NULL,
    details TEXT NOT NULL       -- JSON
);

CREATE TRIGGER history_stays_1 BEFORE UPDATE ON history BEGIN SELECT raise(ABORT, 'history is append-only'); END;
CREATE TRIGGER history_stays_2 BEFORE DELETE ON history BEGIN SELECT raise(ABORT, 'history is append-only'); END;
CREATE TRIGGER verdict_stays_1 BEFORE UPDATE ON verdict BEGIN SELECT raise(ABORT, 'verdicts are append-only'); END;
CREATE TRIGGER verdict_stays_2 BEFORE DELETE ON verdict BEGIN SELECT raise(ABORT, 'verdicts are append-only'); END;

-- since version 3

CREATE TABLE site_table (       -- a table that the site states beside the logs: anchors, equations, delays
    id INTEGER PRIMARY KEY,
    kind TEXT NOT NULL,
    name TEXT NOT NULL,         -- a later table of the name replaces it
    added_us INTEGER NOT NULL,
    decided_by TEXT NOT NULL,
    source_name TEXT NOT NULL,
    source_sha256 TEXT NOT NULL
);
CREATE TABLE site_row (
    site_table INTEGER NOT NULL REFERENCES site_table (id),
    number INTEGER NOT NULL,    -- as in the source
    content TEXT NOT NULL,      -- JSON: column -> value, null where not given
    PRIMARY KEY (site_table, number)
);
CREATE VIEW current_site_table AS
    SELECT * FROM site_table WHERE id IN (SELECT max(id) FROM site_table GROUP BY kind, name);

CREATE TABLE overrule (         -- each version of an overrule, the last one counts
    number INTEGER PRIMARY KEY,
    overrule TEXT NOT NULL,     -- its id: 'O1'
    what TEXT NOT NULL,
    start_us INTEGER NOT NULL,
    end_us INTEGER NOT NULL,
    value TEXT NOT NULL,
    reason TEXT NOT NULL,
    decided_by TEXT NOT NULL,
    decided_us INTEGER NOT NULL,
    withdrawn INTEGER NOT NULL  -- 1: taken back
);
CREATE VIEW current_overrule AS
    SELECT * FROM overrule WHERE number IN (SELECT max(number) FROM overrule GROUP BY overrule);

CREATE TRIGGER site_table_stays_1 BEFORE UPDATE ON site_table BEGIN SELECT raise(ABORT, 'site tables are append-only'); END;
CREATE TRIGGER site_table_stays_2 BEFORE DELETE ON site_table BEGIN SELECT raise(ABORT, 'site tables are append-only'); END;
CREATE TRIGGER site_row_stays_1 BEFORE UPDATE ON site_row BEGIN SELECT raise(ABORT, 'site tables are append-only'); END;
CREATE TRIGGER site_row_stays_2 BEFORE DELETE ON site_row BEGIN SELECT raise(ABORT, 'site tables are append-only'); END;
CREATE TRIGGER overrule_stays_1 BEFORE UPDATE ON overrule BEGIN SELECT raise(ABORT, 'overrules are append-only'); END;
CREATE TRIGGER overrule_stays_2 BEFORE DELETE ON overrule BEGIN SELECT raise(ABORT, 'overrules are append-only'); END;

-- since version 4

CREATE TABLE fit (              -- a relation that was fitted and kept; the last one of a name counts
    number INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    content TEXT NOT NULL,      -- JSON: what was wanted, what came out, the intervals in use
    fingerprint TEXT NOT NULL,  -- SHA-256 of its data
    note TEXT NOT NULL,
    decided_by TEXT NOT NULL,
    decided_us INTEGER NOT NULL
);
CREATE VIEW current_fit AS
    SELECT * FROM fit WHERE number IN (SELECT max(number) FROM fit GROUP BY name);

CREATE TRIGGER fit_stays_1 BEFORE UPDATE ON fit BEGIN SELECT raise(ABORT, 'fits are append-only'); END;
CREATE TRIGGER fit_stays_2 BEFORE DELETE ON fit BEGIN SELECT raise(ABORT, 'fits are append-only'); END;

-- since version 5

ALTER TABLE finding ADD COLUMN together TEXT NOT NULL DEFAULT '';  -- id of the first of its group, '' alone
ALTER TABLE finding ADD COLUMN gone_us INTEGER;  -- NULL: noticed the last time; else since when no more

CREATE TABLE change_seen (      -- how the findings changed from one detection to the next
    number INTEGER PRIMARY KEY,
    when_us INTEGER NOT NULL,
    who TEXT NOT NULL,
    content TEXT NOT NULL       -- JSON: 'new', 'gone' -> ids; 'moved' -> [id, metres at its start, at its end]
);

CREATE TABLE act (              -- what a person did to marks at once
    number INTEGER PRIMARY KEY,
    what TEXT NOT NULL,
    decided_by TEXT NOT NULL,
    decided_us INTEGER NOT NULL,
    reason TEXT NOT NULL,
    undoes INTEGER NOT NULL     -- the act that it takes back; 0: none
);
CREATE TABLE mark (             -- each version of a mark, the last one counts
    act INTEGER NOT NULL REFERENCES act (number),
    mark TEXT NOT NULL,         -- its id: 'M1'
    kind TEXT NOT NULL,
    position_from_m REAL NOT NULL,
    position_to_m REAL NOT NULL,
    content TEXT NOT NULL,      -- JSON: the rest of what domain.marks.Mark says
    withdrawn INTEGER NOT NULL, -- 1: taken back
    PRIMARY KEY (mark, act)
);
CREATE VIEW current_mark AS
    SELECT mark.*, decided_by, decided_us FROM mark JOIN act ON act.number = act
    WHERE (mark, act) IN (SELECT mark, max(act) FROM mark GROUP BY mark);

CREATE TABLE signoff (          -- that a shift's data were reviewed; the last one of a shift counts
    number INTEGER PRIMARY KEY,
    shift_start_us INTEGER NOT NULL,
    decided_by TEXT NOT NULL,
    decided_us INTEGER NOT NULL,
    note TEXT NOT NULL,
    open TEXT NOT NULL,         -- JSON: ids of its findings without a verdict at that time
    seen TEXT NOT NULL,         -- JSON: fingerprints of what was reviewed: samples, settings, findings
    withdrawn INTEGER NOT NULL  -- 1: taken back
);
CREATE VIEW current_signoff AS
    SELECT * FROM signoff WHERE number IN (SELECT max(number) FROM signoff GROUP BY shift_start_us)
    AND NOT withdrawn;

CREATE TRIGGER act_stays_1 BEFORE UPDATE ON act BEGIN SELECT raise(ABORT, 'acts are append-only'); END;
CREATE TRIGGER act_stays_2 BEFORE DELETE ON act BEGIN SELECT raise(ABORT, 'acts are append-only'); END;
CREATE TRIGGER mark_stays_1 BEFORE UPDATE ON mark BEGIN SELECT raise(ABORT, 'marks are append-only'); END;
CREATE TRIGGER mark_stays_2 BEFORE DELETE ON mark BEGIN SELECT raise(ABORT, 'marks are append-only'); END;
CREATE TRIGGER signoff_stays_1 BEFORE UPDATE ON signoff BEGIN SELECT raise(ABORT, 'sign-offs are append-only'); END;
CREATE TRIGGER signoff_stays_2 BEFORE DELETE ON signoff BEGIN SELECT raise(ABORT, 'sign-offs are append-only'); END;
CREATE TRIGGER change_seen_stays_1 BEFORE UPDATE ON change_seen BEGIN SELECT raise(ABORT, 'append-only'); END;
CREATE TRIGGER change_seen_stays_2 BEFORE DELETE ON change_seen BEGIN SELECT raise(ABORT, 'append-only'); END;
