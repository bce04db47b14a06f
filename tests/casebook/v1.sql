-- A casebook of form 1, as that form wrote it. Never change this file: such files are out there.
PRAGMA application_id = 1885627234;
PRAGMA user_version = 1;
CREATE TABLE cases (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    uuid TEXT NOT NULL UNIQUE,
    created_at TEXT NOT NULL,
    edited_at TEXT NOT NULL,
    status TEXT NOT NULL,
    device TEXT NOT NULL,
    symptom TEXT NOT NULL,
    done TEXT NOT NULL,
    held TEXT NOT NULL,
    held_on TEXT,
    part TEXT,
    fingerprint TEXT,
    notes TEXT NOT NULL,
    readings TEXT NOT NULL,
    customer TEXT NOT NULL,
    ticket TEXT NOT NULL,
    capture_path TEXT NOT NULL
);
INSERT INTO cases VALUES (
    3, '3f1b0c1e-7a52-4f4a-9d3a-000000000001', '2031-05-04T09:30:00.000Z', '2031-05-06T15:00:00.000Z', 'closed',
    'handheld scanner (invented)', '5 V only, 30 mA', 'new port', 'yes', '2031-05-06', 'port-contacts',
    '{"asked":null,"contract":null,"current_ma":30,"leading":"no-request","offered":[{"current_ma":3000,"kind":"fixed","max_mv":9000,"min_mv":9000,"power_mw":null}],"offers":4,"resets":4,"rules":[{"rule":"no-request","severity":"fail"}],"steps":[{"state":"reached","step":"attach"}],"stopped_at":"request","summary":"The device never asked.","suspect":"sink","timings":[{"seconds":1.13,"what":"from offer to offer"}],"verdict":"fail"}',
    '[{"at":"2031-05-04T09:31:00.000Z","id":"aa","private":true,"text":"keeps calling"}]',
    '[{"at":"2031-05-04T09:32:00.000Z","data":{"cc1_v":0.41},"id":"bb","kind":"measure"}]',
    'pier 2', '1183', '/bench/scanner.csv'
);
INSERT INTO cases VALUES (
    7, '3f1b0c1e-7a52-4f4a-9d3a-000000000002', '2031-05-07T08:00:00.000Z', '2031-05-07T08:00:00.000Z', 'open',
    'deck tablet (invented)', 'dead', '', 'unknown', NULL, NULL, NULL, '[]', '[]', '', '', ''
);
