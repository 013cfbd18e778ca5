PRAGMA foreign_keys=OFF;
BEGIN TRANSACTION;
CREATE TABLE car (
  id INTEGER PRIMARY KEY CHECK (id = 1),
  name TEXT NOT NULL CHECK (length(name) BETWEEN 1 AND 200),
  created_at TEXT NOT NULL,
  program TEXT NOT NULL
) STRICT;
INSERT INTO car VALUES(1,'Marlow, layout 2','2026-11-25T15:09:00','idlehark 0.1.0');
CREATE TABLE engine (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  text TEXT NOT NULL CHECK (substr(text, 1, 1) = '{'),
  added_at TEXT NOT NULL
) STRICT;
INSERT INTO engine VALUES(1,replace('{\n  "name": "Marlow 1600 (invented)",\n  "cylinders": 4,\n  "strokes": 4,\n  "idle_rpm": [\n    500.0,\n    1200.0\n  ],\n  "injection": "sequential",\n  "idle_control": "fixed"\n}','\n',char(10)),'2026-11-25T15:09:00');
CREATE TABLE map (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  text TEXT NOT NULL CHECK (substr(text, 1, 1) = '{'),
  added_at TEXT NOT NULL
) STRICT;
INSERT INTO map VALUES(1,replace('{\n  "name": "Marlow 1600 (invented), practice bay",\n  "spots": [\n    {\n      "spot": "1",\n      "name": "intake gasket, cylinder 1",\n      "kind": "gasket",\n      "x_mm": 120.0,\n      "y_mm": 180.0,\n      "cylinder": 1\n    },\n    {\n      "spot": "2",\n      "name": "intake gasket, cylinder 2",\n      "kind": "gasket",\n      "x_mm": 210.0,\n      "y_mm": 180.0,\n      "cylinder": 2\n    },\n    {\n      "spot": "3",\n      "name": "intake gasket, cylinder 3",\n      "kind": "gasket",\n      "x_mm": 300.0,\n      "y_mm": 180.0,\n      "cylinder": 3\n    },\n    {\n      "spot": "4",\n      "name": "intake gasket, cylinder 4",\n      "kind": "gasket",\n      "x_mm": 390.0,\n      "y_mm": 180.0,\n      "cylinder": 4\n    },\n    {\n      "spot": "5",\n      "name": "injector seal, cylinder 1",\n      "kind": "injector seal",\n      "x_mm": 120.0,\n      "y_mm": 135.0,\n      "cylinder": 1\n    },\n    {\n      "spot": "6",\n      "name": "injector seal, cylinder 2",\n      "kind": "injector seal",\n      "x_mm": 210.0,\n      "y_mm": 135.0,\n      "cylinder": 2\n    },\n    {\n      "spot": "7",\n      "name": "injector seal, cylinder 3",\n      "kind": "injector seal",\n      "x_mm": 300.0,\n      "y_mm": 135.0,\n      "cylinder": 3\n    },\n    {\n      "spot": "8",\n      "name": "injector seal, cylinder 4",\n      "kind": "injector seal",\n      "x_mm": 390.0,\n      "y_mm": 135.0,\n      "cylinder": 4\n    },\n    {\n      "spot": "9",\n      "name": "throttle body gasket",\n      "kind": "gasket",\n      "x_mm": 204.0,\n      "y_mm": 285.0\n    },\n    {\n      "spot": "10",\n      "name": "throttle shaft",\n      "kind": "throttle",\n      "x_mm": 130.0,\n      "y_mm": 402.0\n    },\n    {\n      "spot": "11",\n      "name": "brake booster hose",\n      "kind": "hose",\n      "x_mm": 178.0,\n      "y_mm": 368.0\n    },\n    {\n      "spot": "12",\n      "name": "crankcase breather hose",\n      "kind": "hose",\n      "x_mm": 80.0,\n      "y_mm": 481.0\n    }\n  ]\n}','\n',char(10)),'2026-11-25T15:09:00');
CREATE TABLE visit (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  date TEXT NOT NULL CHECK (length(date) BETWEEN 10 AND 40),
  title TEXT NOT NULL CHECK (length(title) BETWEEN 1 AND 200),
  warmth TEXT NOT NULL DEFAULT 'not said' CHECK (warmth IN ('warm', 'cold', 'not said')),
  device TEXT NOT NULL DEFAULT '',
  gain TEXT NOT NULL DEFAULT '',
  note TEXT NOT NULL DEFAULT ''
) STRICT;
INSERT INTO visit VALUES(1,'2026-05-30','before','warm','','','rain');
CREATE TABLE gate_answer (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  visit_id INTEGER NOT NULL REFERENCES visit (id),
  question TEXT NOT NULL CHECK (length(question) > 0),
  answer TEXT NOT NULL,
  answered_at TEXT NOT NULL
) STRICT;
INSERT INTO gate_answer VALUES(1,1,'Is there any smell of fuel?','no','2026-05-30T10:00:00');
CREATE TABLE log_entry (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  visit_id INTEGER REFERENCES visit (id),
  name TEXT NOT NULL CHECK (length(name) BETWEEN 1 AND 200),
  low REAL,
  high REAL,
  unit TEXT NOT NULL DEFAULT '',
  reading REAL,
  state TEXT NOT NULL CHECK (state IN ('ok', 'faulty', 'not done')),
  note TEXT NOT NULL DEFAULT '',
  added_at TEXT NOT NULL,
  CHECK (low IS NULL OR high IS NULL OR low <= high)
) STRICT;
INSERT INTO log_entry VALUES(1,NULL,'fuel pressure',2.5,3.2000000000000001776,'bar',2.8999999999999999111,'ok','','2026-11-25T15:09:00');
CREATE TABLE recording (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  visit_id INTEGER NOT NULL REFERENCES visit (id),
  kind TEXT NOT NULL CHECK (kind IN ('bay', 'injector', 'hiss')),
  file TEXT NOT NULL UNIQUE CHECK (length(file) > 0 AND instr(file, '/') = 0 AND file NOT LIKE '.%'),
  original_name TEXT NOT NULL DEFAULT '',
  channel INTEGER NOT NULL DEFAULT 1 CHECK (channel >= 1),
  state TEXT NOT NULL CHECK (state IN ('running', 'whole')),
  started_at TEXT NOT NULL DEFAULT '',
  device TEXT NOT NULL DEFAULT '',
  sample_rate_hz REAL,
  channels INTEGER,
  frames INTEGER,
  bytes INTEGER,
  fingerprint TEXT NOT NULL DEFAULT '',
  added_at TEXT NOT NULL
) STRICT;
INSERT INTO recording VALUES(1,1,'bay','start.flac','start.flac',1,'whole','','',16000.0,1,384000,1030684,'513da9e4b9093625','2026-11-25T15:09:01');
CREATE TABLE gap (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  recording_id INTEGER NOT NULL REFERENCES recording (id),
  frame INTEGER NOT NULL CHECK (frame >= 0),
  lost_frames INTEGER NOT NULL CHECK (lost_frames >= 0)
) STRICT;
INSERT INTO gap VALUES(1,1,100,5);
CREATE TABLE mark (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  recording_id INTEGER NOT NULL REFERENCES recording (id),
  time_s REAL NOT NULL CHECK (time_s >= 0),
  spot TEXT NOT NULL CHECK (length(spot) > 0),
  source TEXT NOT NULL DEFAULT 'hand' CHECK (source IN ('hand', 'heard')),
  withdrawn INTEGER NOT NULL DEFAULT 0 CHECK (withdrawn IN (0, 1)),
  added_at TEXT NOT NULL
) STRICT;
INSERT INTO mark VALUES(1,1,4.0999999999999996447,'6','hand',0,'2026-11-25T15:09:01');
INSERT INTO mark VALUES(2,1,18.100000000000001421,'11','hand',0,'2026-11-25T15:09:01');
CREATE TABLE result (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  visit_id INTEGER NOT NULL REFERENCES visit (id),
  kind TEXT NOT NULL CHECK (length(kind) BETWEEN 1 AND 40),
  program TEXT NOT NULL,
  made_at TEXT NOT NULL,
  engine_id INTEGER NOT NULL REFERENCES engine (id),
  map_id INTEGER REFERENCES map (id),
  settings TEXT NOT NULL CHECK (substr(settings, 1, 1) = '{'),
  outcome TEXT NOT NULL CHECK (outcome IN ('answer', 'no answer')),
  figures TEXT NOT NULL CHECK (substr(figures, 1, 1) = '{')
) STRICT;
INSERT INTO result VALUES(1,1,'spray','idlehark 0.1.0','2026-11-25T15:09:03',1,1,'{"channel":1,"matters_rpm":15.0,"marks":[[4.1,"6"],[18.1,"11"]]}','answer','{"idle_rpm":885.307,"hunting_rpm":7.56,"smallest_provable_rpm":null,"matters_rpm":15.0,"spots":[{"spot":"1","name":"intake gasket, cylinder 1","bursts":0,"change_rpm":null,"low_rpm":null,"high_rpm":null,"p_value":1.0,"verdict":"undecided","delay_s":null},{"spot":"2","name":"intake gasket, cylinder 2","bursts":0,"change_rpm":null,"low_rpm":null,"high_rpm":null,"p_value":1.0,"verdict":"undecided","delay_s":null},{"spot":"3","name":"intake gasket, cylinder 3","bursts":0,"change_rpm":null,"low_rpm":null,"high_rpm":null,"p_value":1.0,"verdict":"undecided","delay_s":null},{"spot":"4","name":"intake gasket, cylinder 4","bursts":0,"change_rpm":null,"low_rpm":null,"high_rpm":null,"p_value":1.0,"verdict":"undecided","delay_s":null},{"spot":"5","name":"injector seal, cylinder 1","bursts":0,"change_rpm":null,"low_rpm":null,"high_rpm":null,"p_value":1.0,"verdict":"undecided","delay_s":null},{"spot":"6","name":"injector seal, cylinder 2","bursts":1,"change_rpm":-0.925,"low_rpm":-82.281,"high_rpm":82.275,"p_value":0.8095952023988006,"verdict":"undecided","delay_s":null},{"spot":"7","name":"injector seal, cylinder 3","bursts":0,"change_rpm":null,"low_rpm":null,"high_rpm":null,"p_value":1.0,"verdict":"undecided","delay_s":null},{"spot":"8","name":"injector seal, cylinder 4","bursts":0,"change_rpm":null,"low_rpm":null,"high_rpm":null,"p_value":1.0,"verdict":"undecided","delay_s":null},{"spot":"9","name":"throttle body gasket","bursts":0,"change_rpm":null,"low_rpm":null,"high_rpm":null,"p_value":1.0,"verdict":"undecided","delay_s":null},{"spot":"10","name":"throttle shaft","bursts":0,"change_rpm":null,"low_rpm":null,"high_rpm":null,"p_value":1.0,"verdict":"undecided","delay_s":null},{"spot":"11","name":"brake booster hose","bursts":1,"change_rpm":26.311,"low_rpm":13.052,"high_rpm":54.621,"p_value":0.010707918022313273,"verdict":"leak","delay_s":1.196},{"spot":"12","name":"crankcase breather hose","bursts":0,"change_rpm":null,"low_rpm":null,"high_rpm":null,"p_value":1.0,"verdict":"undecided","delay_s":null}],"cautions":["one burst only at spot 6, 11: one burst can miss, two more make it count"],"notes":["Less than 15 s of idle before the first burst: the smallest provable change could not be foretold.","Spot 6: a single burst may have missed; spray it again to rule it out."],"length_s":24.0,"bursts":[{"time_s":4.1,"spot":"6"},{"time_s":18.16,"spot":"11"}]}');
INSERT INTO result VALUES(2,1,'idle','idlehark 0.1.0','2026-11-25T15:09:04',1,NULL,'{"channel":1}','answer','{"rpm":885.286,"spread_rpm":29.321,"locked_share":1.0,"length_s":24.0,"cautions":[]}');
INSERT INTO result VALUES(3,1,'balance','idlehark 0.1.0','2026-11-25T15:09:06',1,NULL,'{"channel":1}','answer','{"rpm":887.515,"seconds":23.9,"cycles":176,"half_order_share":0.083,"named":false,"summary":"The cylinders work evenly","cylinders":[{"firing":"A","angle_deg":0.0,"strength":1.181,"strength_low":1.009,"strength_high":1.382,"misfire_percent":0.0,"misfire_low":0.0,"misfire_high":1.266,"p_weak":1.0,"p_misfire":1.0,"verdict":"even"},{"firing":"B","angle_deg":180.0,"strength":0.824,"strength_low":0.704,"strength_high":0.964,"misfire_percent":0.0,"misfire_low":0.0,"misfire_high":1.266,"p_weak":0.5398846280618831,"p_misfire":1.0,"verdict":"even"},{"firing":"C","angle_deg":360.0,"strength":0.86,"strength_low":0.734,"strength_high":1.006,"misfire_percent":0.0,"misfire_low":0.0,"misfire_high":2.249,"p_weak":1.0,"p_misfire":1.0,"verdict":"even"},{"firing":"D","angle_deg":540.0,"strength":1.213,"strength_low":1.037,"strength_high":1.418,"misfire_percent":0.0,"misfire_low":0.0,"misfire_high":3.169,"p_weak":1.0,"p_misfire":1.0,"verdict":"even"}],"cautions":["keep hands, sleeves, leads and the microphone clear of belts, of fans (they may start by themselves) and of hot parts; a pick-up goes round a lead''s insulation and never near bare ignition parts"],"notes":["letters instead of cylinder numbers: sound tells the firing order, not which firing is which cylinder; A is the first one heard. A pick-up on one lead, recorded on another channel, names them (--reference-channel)"]}');
CREATE TABLE result_recording (
  result_id INTEGER NOT NULL REFERENCES result (id),
  place INTEGER NOT NULL,
  recording_id INTEGER NOT NULL REFERENCES recording (id),
  label TEXT NOT NULL DEFAULT '',
  gain_db REAL NOT NULL DEFAULT 0,
  PRIMARY KEY (result_id, place)
) STRICT, WITHOUT ROWID;
INSERT INTO result_recording VALUES(1,0,1,'',0.0);
INSERT INTO result_recording VALUES(2,0,1,'',0.0);
INSERT INTO result_recording VALUES(3,0,1,'',0.0);
CREATE TABLE trace (
  result_id INTEGER PRIMARY KEY REFERENCES result (id),
  readings BLOB NOT NULL CHECK (length(readings) % 16 = 0)
) STRICT;
INSERT INTO trace VALUES(2,X'000000004fd75c4449695c4454455d44cdcccc3de0065d44df985c44e1745d44cdcc4c3e78285d4470ba5c4481965d449a99993e554b5d4445dd5c4464b95d44cdcccc3ee0735d44ca055d44f7e15d440000003f91945d44483c5d44daec5d449a99193f94af5d4447575d44e0075e443333333fe1c65d44916e5d44311f5e44cdcc4c3f55d25d44017a5d44a92a5e446666663f9eda5d4447825d44f6325e440000803f65d75d44bf8e5d440c205e44cdcc8c3fd4d05d442d885d447b195e449a99993f52ca5d44a7815d44fd125e446666a63f63be5d44b3755d4414075e443333b33fd89d5d4424555d448be65d440000c03f2e665d4497195d44c6b25d44cdcccc3f12295d4479dc5c44ac755d449a99d93f91045d44f1b75c4430515d446666e63ff5f85c444dac5c449e455d443333f33fcee75c44219b5c447b345d4400000040a0ce5c44cc705c44732c5d44666606403cc25c4465645c4413205d44cdcc0c4057a25c4478445c4436005d4433331340bc725c44d3145c44a5d05c449a9919409d425c44abe45b448fa05c44000020408b155c442d875b44e9a35c446666264040f45b44df655b44a0825c44cdcc2c4035e25b44d2535b4499705c4433333340fd115c4491835b446aa05c449a99394099675c441ed95b4415f65c44000040408eb85c44eb215c44314f5d44666646408eec5c44ed555c442e835d44cdcc4c40ce125d44317c5c446ba95d4433335340763d5d44d3a65c441ad45d449a995940c98f5d4419f95c4478265e440000604068fd5d44097e5d44c87c5e4466666640750a5e441c8b5d44ce895e44cdcc6c40ddf35d4483745d4438735e443333734088db5d44235c5d44ed5a5e449a99794047bb5d44cf3b5d44bf3a5e440000804069b55d448f2f5d44443b5e44333383408eba5d44b2345d4469405e446666864044c35d44673d5d4421495e449a998940aac15d44be3b5d4496475e44cdcc8c4043b45d44442e5d44423a5e4400009040d18d5d4486125d441b095e4433339340a8585d4457dd5c44f9d35d446666964040115d44e7955c44988c5d449a9999402dcf5c44c5535c44954a5d44cdcc9c4001b25c4488365c447b2d5d440000a040f4af5c4472575c4476085d443333a340cd975c444b3f5c4450f05c446666a640af705c4424185c443bc95c449a99a940f24d5c445bf55b448aa65c44cdccac40232d5c4484d45b44c3855c440000b040da0b5c442ba75b448a705c443333b340a4fc5b44f0975b4458615c446666b640b9075c4402a35b44716c5c449a99b940fd475c4440e35b44baac5c44cdccbc40feb65c443a525c44c31b5d440000c040ec3b5d4484c15c4455b65d443333c34073595d4411df5c44d5d35d446666c640a6655d4445eb5c4406e05d449a99c94068775d4406fd5c44c9f15d44cdcccc405f7d5d44ed025d44d1f75d440000d0400fb15d44990e5d4485535e443333d3401b085e44ad655d4489aa5e446666d640ad5c5e443dba5d441dff5e449a99d94094755e4418d35d4410185f44cdccdc40eb435e4459a15d447de65e440000e04022095e44a57c5d449f955e443333e3407fc95d44f83c5d4407565e446666e640e55d5d4452d15c4478ea5d449a99e9404ccf5c44b9425c44de5b5d44cdccec4097785c44f9eb5b4435055d440000f040fa475c44f3c85b4401c75c443333f340342e5c442caf5b443cad5c446666f64023245c4421a55b4425a35c449a99f94033035c442b845b443a825c44cdccfc4005b35b44ea335b4421325c4400000041cd905b443a295b445ff85b449a990141f58f5b4469285b4480f75b4433330341ba6b5b4426045b444dd35b44cdcc04412a415b448cd95a44c7a85b44666606417d2f5b44ddc75a441c975b4400000841823d5b44b4b15a4451c95b449a990941c95d5b44f8d15a449ae95b4433330b41f47f5b4426f45a44c20b5c44cdcc0c41a2855b44d6f95a446f115c4466660e4140895b4464fd5a441c155c440000104193d85b4411555b44155c5c449a991141245a5c44b0d65b4497dd5c4433331341a8c15c44413e5c4410455d44cdcc144107fc5c449e785c44717f5d4466661641485b5d44dbd75c44b6de5d440000184124eb5d4476545d44d3815e449a991941a65a5e4404c45d4448f15e4433331b41ff755e4461df5d449d0c5f44cdcc1c41ca775e4424e15d446f0e5f4466661e414a5c5e4496c55d44fef25e440000204111705e440da95d4414375f449a992141d8805e44cfb95d44e1475f4433332341a3495e4490825d44b7105f44cdcc244176e05d4462195d4489a75e446666264192835d4472bc5c44b24a5e440000284142485d44f99e5c448af15d449a9929416d3c5d4420935c44bae55d4433332b41f95c5d44afb35c4444065e44cdcc2c4155605d4413b75c4497095e4466662e41a9145d44556b5c44fdbd5d44000030417cea5c4483405c4476945d449a993141bf735c44bcc95b44c21d5d443333334130e15b441c375b44458b5c44cdcc344157495b442e9f5a4480f35b446666364100c95a44c11e5a4440735b4400003841c5b85a44071b5a4483565b449a99394125d15a445d335a44ed6e5b4433333b4178185b44b17a5a4440b65b44cdcc3c4133685b4476ca5a44f0055c4466663e41e58c5b441eef5a44ac2a5c44000040410c945b4428ec5a44ef3b5c449a9941417b835b4498db5a445f2b5c443333434186ac5b44ab045b4460545c44cdcc444110265c443c7e5b44e5cd5c4466664641dab25c44ff0a5c44b65a5d4400004841530a5d4475755c44319f5d449a994941f3385d4429a45c44bdcd5d4433334b41b5af5d44f01a5d447a445e44cdcc4c41b95a5e44f3c55d447fef5e4466664e41a6bb5e44e9265e4463505f440000504159e55e4463615e444e695f449a9951411cea5e442c665e440c6e5f4433335341d9ee5e44db6a5e44d8725f44cdcc5441e3d05e44e54c5e44e1545f44666656410a8a5e440b065e44090e5f4400005841d7635e4408bc5d44a70b5f449a9959412d3b5e4449935d4410e35e4433335b41aece5d44ca265d4492765e44cdcc5c41fb495d4413a25c44e2f15d4466665e4194d95c4491315c4496815d4400006041287b5c441be15b4435155d449a99614153515c4440b75b4467eb5c443333634163115c4449775b447cab5c44cdcc6441ffda5b44de405b441f755c4466666641e2ca5b44b4305b4410655c44000068417aa95b443a265b44ba2c5c449a99694102865b44c2025b4442095c4433336b41bab15b447a2e5b44fa345c44cdcc6c411af95b44dc755b44587c5c4466666e41e61a5c44a2975b442a9e5c440000704112235c44a5b15b447f945c449a9971417f575c4411e65b44ecc85c44333373412fb35c44c4415c449b245d44cdcc7441e4115d447ea05c444b835d4466667641ec5d5d447fec5c4459cf5d4400007841c08d5d44ecf25c4495285e449a99794169cd5d44a0325d4431685e4433337b41e41d5e4423835d44a5b85e44cdcc7c41984e5e44d0b35d445fe95e4466667e41c0605e44e7c55d449afb5e440000804189605e44e9e05d4429e05e44cdcc8041015b5e4462db5d449fda5e449a998141262f5e4483af5d44c9ae5e446666824112f15d4461715d44c2705e4433338341a0c35d44de435d4463435e440000844148b65d44ad4b5d44e3205e44cdcc84414d8b5d44ac205d44eef55d449a998541ad435d4405d95c4455ae5d4466668641780c5d44c9a15c4427775d4433338741d6ed5c4416835c4496585d440000884148d85c446f715c44213f5d44cdcc88418fa95c44b3425c446b105d449a998941506e5c4470075c442fd55c4466668a41f9195c440eb35b44e4805c4433338b4191af5b4493485b448f165c4400008c41ed385b4422a45a44b7cd5b44cdcc8c411ef35a444e5e5a44ee875b449a998d41baf25a44e25d5a4491875b4466668e41ed145b440e805a44cba95b4433338f41cb465b44e0b15a44b6db5b44000090419fb05b44ef115b444e4f5c44cdcc9041df075c4437695b4487a65c449a9991419b585c44f5b95b4440f75c4466669241ca755c441cd75b4478145d4433339341c8585c44feb95b4492f75c440000944196625c448dde5b44a0e65c44cdcc9441757b5c4471f75b447aff5c449a99954152bb5c4451375c44523f5d4466669641f2e25c44eb5e5c44f9665d443333974135f15c441d6d5c444c755d4400009841f1da5c440c1f5c44d5965d44cdcc9841cae05c44d9245c44bc9c5d449a999941f8fb5c4409405c44e8b75d4466669a41024c5d441c905c44e7075e4433339b4117a05d4423e45c440b5c5e4400009c4136235e441a6b5d4451db5e44cdcc9c415c245f44576c5e4461dc5f449a999d412074604435bc5f440c2c614466669e41cda06144fae86044a058624433339f41466d624471b561441c2563440000a041c0df6244fe13624482ab6344cdcca041e24863441d7d6244a61464449a99a1412bf86344772c6344dfc364446666a241308564448fb96344d15065443333a3412252644479866344cb1d65440000a441fda16344f9d3624401706444cdcca4418af462448f26624485c263449a99a5414873624452a561443e4163446666a641b8b96144a0eb6044d08762443333a741813e614442706044c00c62440000a841594a6144f5766044be1d6244cdcca841564f61441b7c6044912262449a99a941a79a614470c76044df6d62446666aa411aef6144be1b614476c262443333ab419ef7614448246144f4ca62440000ac41cacf61449418614400876244cdccac414958614403a160448f0f62449a99ad41752361441c6c6044ceda61446666ae41a9266144516f604400de61443333af41556a614412b36044982162440000b041611b6244345661448de06244cdccb041df9c6244add76144116263449a99b14151a0624422db61447f6563446666b2416a8c62444bc76144885163443333b3417383624452be6144944863440000b4419e9d6244b0e061448c5a6344cdccb44160b962446efc6144537663449a99b541bafa6244d53d6244a0b763446666b64184fc6244ab3f62445eb963443333b74182a7624498ea61446b6463440000b841d557624432a16144790e6344cdccb8411f7a624484c36144b93063449a99b9415b866244c3cf6144f33c63446666ba41fd6062445baa61449f1763443333bb41463a62449a836144f2f062440000bc4121036244b84661448abf6244cdccbc41b7ba614420fe60444e7762449a99bd41914a6144cc8d6044550762446666be411c0861443049604408c761443333bf41f20761445f31604486de6144');
CREATE TABLE note (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  visit_id INTEGER REFERENCES visit (id),
  text TEXT NOT NULL CHECK (length(text) > 0),
  added_at TEXT NOT NULL
) STRICT;
INSERT INTO note VALUES(1,NULL,'hose 11 feels soft','2026-11-25T15:09:07');
CREATE TABLE picture (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  visit_id INTEGER REFERENCES visit (id),
  file TEXT NOT NULL UNIQUE CHECK (length(file) > 0 AND instr(file, '/') = 0 AND file NOT LIKE '.%'),
  title TEXT NOT NULL DEFAULT '',
  added_at TEXT NOT NULL
) STRICT;
CREATE TABLE guided (
  visit_id INTEGER PRIMARY KEY REFERENCES visit (id),
  record TEXT NOT NULL CHECK (substr(record, 1, 1) = '{'),
  kept_at TEXT NOT NULL
) STRICT;
INSERT INTO guided VALUES(1,'{"cautions":[{"key":"fuel","yes":true,"time_s":1.5}],"recordings":[{"name":"start.flac","offset_s":0.0}],"bursts":[{"spots":["11"],"sham":false,"time_s":4.1,"by_key":true,"found_onset_s":null,"found_duration_s":null,"asked":true,"near_gap":false,"undone":false}],"skipped":[],"decided":[],"clock_s":24.0,"smallest_provable_rpm":null,"ended":""}','2026-05-30T10:05:00');
DELETE FROM sqlite_sequence;
INSERT INTO sqlite_sequence VALUES('engine',1);
INSERT INTO sqlite_sequence VALUES('map',1);
INSERT INTO sqlite_sequence VALUES('visit',1);
INSERT INTO sqlite_sequence VALUES('log_entry',1);
INSERT INTO sqlite_sequence VALUES('recording',1);
INSERT INTO sqlite_sequence VALUES('mark',2);
INSERT INTO sqlite_sequence VALUES('result',3);
INSERT INTO sqlite_sequence VALUES('note',1);
INSERT INTO sqlite_sequence VALUES('gate_answer',1);
INSERT INTO sqlite_sequence VALUES('gap',1);
CREATE INDEX recording_of_visit ON recording (visit_id);
CREATE INDEX gap_of_recording ON gap (recording_id);
CREATE INDEX mark_of_recording ON mark (recording_id);
CREATE INDEX result_of_visit ON result (visit_id);
CREATE INDEX result_of_recording ON result_recording (recording_id);
COMMIT;
PRAGMA application_id=1231308907;
PRAGMA user_version=2;
