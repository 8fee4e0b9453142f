BEGIN TRANSACTION;
CREATE TABLE "_sqlite_migrations" (
   "id" INTEGER PRIMARY KEY,
   "migration_set" TEXT,
   "name" TEXT,
   "applied_at" TEXT
);
INSERT INTO "_sqlite_migrations" VALUES(1,'scorebook','0001-first-tables','2026-11-29 16:45:09.940994+00:00');
CREATE TABLE corrections (
        correction_id TEXT PRIMARY KEY,
        answer_id TEXT NOT NULL REFERENCES reviews,
        grade TEXT NOT NULL CHECK (grade IN ('missed', 'helped', 'partly', 'found', 'fluent')),
        reason TEXT NOT NULL,
        time TEXT NOT NULL
    ) WITHOUT ROWID;
INSERT INTO "corrections" VALUES('5a17aa25-0000-4000-8000-000000000002','12ddd155-809f-58c5-b929-438fc6134678','found','Rd1 wins too','2031-05-05T18:09:00.000000+00:00');
CREATE TABLE decks (
        deck TEXT PRIMARY KEY,
        title TEXT NOT NULL,
        folder TEXT NOT NULL
    );
INSERT INTO "decks" VALUES('5a17aa25-0000-4000-8000-000000000001','Saltmarsh files','saltmarsh');
CREATE TABLE findings (
        game INTEGER NOT NULL REFERENCES games,
        ply INTEGER NOT NULL,
        motif TEXT NOT NULL,
        side TEXT NOT NULL CHECK (side IN ('white', 'black')),
        actors INTEGER NOT NULL,
        targets INTEGER NOT NULL,
        squares INTEGER NOT NULL,
        detail TEXT NOT NULL
    );
INSERT INTO "findings" VALUES(1,9,'fork','white',-9223372036854775808,68719476736,1048576,'Rd1');
CREATE TABLE games (
        id INTEGER PRIMARY KEY,
        content TEXT NOT NULL UNIQUE,
        source TEXT NOT NULL,
        number INTEGER NOT NULL,
        white TEXT NOT NULL,
        black TEXT NOT NULL,
        date TEXT NOT NULL,
        event TEXT NOT NULL,
        result TEXT NOT NULL
    );
INSERT INTO "games" VALUES(1,'164a5cfe1ef9c85e9f96623e6581240e1382b6f8fcd8ed82737021846f5b1ead','club.pgn',1,'Wren, Ada','Tern, Bo','2031.05.05','Saltmarsh','1-0');
CREATE TABLE memory (
        student INTEGER NOT NULL REFERENCES students,
        item TEXT NOT NULL,
        stability REAL NOT NULL,
        difficulty REAL NOT NULL,
        last TEXT NOT NULL,
        due TEXT NOT NULL,
        PRIMARY KEY (student, item)
    ) WITHOUT ROWID;
INSERT INTO "memory" VALUES(1,'card:5a17aa25-0000-4000-8000-000000000001/heron-rook/play',1.61772632026546787638e+01,2.11121423578539513243e+00,'2031-05-09','2031-05-25');
INSERT INTO "memory" VALUES(2,'card:5a17aa25-0000-4000-8000-000000000001/heron-rook/spot',1.2931,5.11217070560105568688e+00,'2031-05-10','2031-05-11');
INSERT INTO "memory" VALUES(2,'motif:fork/play',8.2956,1.0,'2031-05-11','2031-05-19');
CREATE TABLE preparations (
        id INTEGER PRIMARY KEY,
        student INTEGER NOT NULL REFERENCES students,
        event_day TEXT NOT NULL,
        made TEXT NOT NULL,
        plan TEXT NOT NULL
    );
INSERT INTO "preparations" VALUES(1,1,'2031-06-01','2031-05-02T00:00:00.000000+00:00','{"days": 2}');
CREATE TABLE reviews (
        answer_id TEXT PRIMARY KEY,
        student INTEGER NOT NULL REFERENCES students,
        deck TEXT REFERENCES decks,
        item TEXT NOT NULL,
        card_id TEXT NOT NULL,
        ask TEXT NOT NULL CHECK (ask IN ('assess', 'spot', 'play', 'root')),
        fen TEXT NOT NULL,
        key_version TEXT NOT NULL,
        raw TEXT NOT NULL,
        score REAL NOT NULL CHECK (score BETWEEN 0 AND 1),
        grade TEXT NOT NULL CHECK (grade IN ('missed', 'helped', 'partly', 'found', 'fluent')),
        seconds REAL NOT NULL CHECK (seconds >= 0),
        hints INTEGER NOT NULL CHECK (hints >= 0),
        study_day TEXT NOT NULL,
        time TEXT NOT NULL,
        first_sight INTEGER CHECK (first_sight IN (0, 1)),
        target_recall REAL NOT NULL
    ) WITHOUT ROWID;
INSERT INTO "reviews" VALUES('12ddd155-809f-58c5-b929-438fc6134678',1,'5a17aa25-0000-4000-8000-000000000001','card:5a17aa25-0000-4000-8000-000000000001/heron-rook/play','heron-rook','play','rnbqkbnr/pppppppp/8/8/8/8/PPPPPPPP/RNBQKBNR w KQkq - 0 1','0123456789ab','{"moves": ["d1d8"], "words": "T\u00fcrme tauschen"}',0.875,'missed',20.0,1,'2031-05-05','2031-05-05T18:01:00.000000+00:00',1,0.9);
INSERT INTO "reviews" VALUES('1342f026-dd87-5018-b701-62371cfc8607',2,'5a17aa25-0000-4000-8000-000000000001','card:5a17aa25-0000-4000-8000-000000000001/heron-rook/spot','heron-rook','spot','rnbqkbnr/pppppppp/8/8/8/8/PPPPPPPP/RNBQKBNR w KQkq - 0 1','0123456789ab','{"moves": ["d1d8"], "words": "T\u00fcrme tauschen"}',0.875,'partly',20.0,1,'2031-05-10','2031-05-10T18:03:00.000000+00:00',NULL,0.9);
INSERT INTO "reviews" VALUES('b1dcebf9-43c1-5615-8cbd-c3b28ab9bd77',1,'5a17aa25-0000-4000-8000-000000000001','card:5a17aa25-0000-4000-8000-000000000001/heron-rook/play','heron-rook','play','rnbqkbnr/pppppppp/8/8/8/8/PPPPPPPP/RNBQKBNR w KQkq - 0 1','0123456789ab','{"moves": ["d1d8"], "words": "T\u00fcrme tauschen"}',0.875,'found',20.0,1,'2031-05-09','2031-05-09T18:02:00.000000+00:00',1,0.9);
INSERT INTO "reviews" VALUES('fa9a43e4-43a0-5684-a8ad-e2b7e7939902',2,NULL,'motif:fork/play','heron-rook','play','rnbqkbnr/pppppppp/8/8/8/8/PPPPPPPP/RNBQKBNR w KQkq - 0 1','0123456789ab','{"moves": ["d1d8"], "words": "T\u00fcrme tauschen"}',0.875,'fluent',20.0,1,'2031-05-11','2031-05-11T18:04:00.000000+00:00',0,0.9);
CREATE TABLE students (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL,
        folded_name TEXT NOT NULL UNIQUE
    );
INSERT INTO "students" VALUES(1,'me','me');
INSERT INTO "students" VALUES(2,'Änna Brook','änna brook');
CREATE UNIQUE INDEX "idx__sqlite_migrations_migration_set_name"
    ON "_sqlite_migrations" ("migration_set", "name");
CREATE INDEX reviews_by_item ON reviews (student, item, study_day, time);
CREATE INDEX reviews_by_ask ON reviews (student, ask);
CREATE INDEX corrections_by_answer ON corrections (answer_id, time);
CREATE TRIGGER reviews_keep_every_row BEFORE DELETE ON reviews
                BEGIN SELECT RAISE(ABORT, 'reviews is append-only'); END;
CREATE TRIGGER reviews_change_no_row BEFORE UPDATE ON reviews
                BEGIN SELECT RAISE(ABORT, 'reviews is append-only'); END;
CREATE TRIGGER reviews_replace_no_row BEFORE INSERT ON reviews
                WHEN EXISTS (SELECT 1 FROM reviews WHERE answer_id = NEW.answer_id)
                BEGIN SELECT RAISE(ABORT, 'reviews is append-only'); END;
CREATE TRIGGER corrections_keep_every_row BEFORE DELETE ON corrections
                BEGIN SELECT RAISE(ABORT, 'corrections is append-only'); END;
CREATE TRIGGER corrections_change_no_row BEFORE UPDATE ON corrections
                BEGIN SELECT RAISE(ABORT, 'corrections is append-only'); END;
CREATE TRIGGER corrections_replace_no_row BEFORE INSERT ON corrections
                WHEN EXISTS (SELECT 1 FROM corrections WHERE correction_id = NEW.correction_id)
                BEGIN SELECT RAISE(ABORT, 'corrections is append-only'); END;
CREATE VIEW graded AS
        SELECT reviews.*, coalesce(
            (SELECT corrections.grade FROM corrections WHERE corrections.answer_id = reviews.answer_id
             ORDER BY corrections.time DESC, corrections.correction_id DESC LIMIT 1),
            reviews.grade) AS grade_now
        FROM reviews;
CREATE INDEX games_by_white ON games (white COLLATE NOCASE);
CREATE INDEX games_by_black ON games (black COLLATE NOCASE);
CREATE INDEX findings_by_game ON findings (game);
COMMIT;
