#include "src/casebook/case_result.hpp"
#include "src/casebook/casebook_parts.hpp"
#include "src/casebook/picture_store.hpp"
#include "src/casebook/sound_store.hpp"
#include "src/casebook/visit_record.hpp"
#include "src/files/engine_file.hpp"
#include "src/files/local_time.hpp"
#include "src/files/plain_text.hpp"
#include "src/files/text_file.hpp"
#include "src/recording/sound_file.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <stdexcept>

#include <fmt/format.h>

namespace idlehark {

namespace {

namespace fs = std::filesystem;
constexpr std::size_t kLongestFileName = 1024;
constexpr int kMostChannels = 1024;

/// The text as it is kept; the complaint names what it is.
std::string kept(std::string_view text, std::size_t longest, std::string_view what, bool needed = false) {
    auto clean = printable(text);
    if (clean.size() > longest || (needed && clean.empty()))
        throw DatabaseFault{
            DatabaseFault::Kind::refused,
            {fmt::format("{} has {} bytes; {}..{} are allowed", what, clean.size(), needed ? 1 : 0, longest), ""}};
    return clean;
}

bool is_date(const std::string& text) {
    constexpr std::string_view kShape = "0000-00-00T00:00:00";
    if (text.size() != 10 && text.size() != 16 && text.size() != 19) return false;
    for (std::size_t i = 0; i < text.size(); ++i) {
        const bool digit = text[i] >= '0' && text[i] <= '9';
        if (kShape[i] == '0' ? !digit : text[i] != kShape[i]) return false;
    }
    const auto two = [&](std::size_t i) { return static_cast<unsigned>(10 * (text[i] - '0') + text[i + 1] - '0'); };
    const std::chrono::year_month_day day{std::chrono::year{static_cast<int>(100 * two(0) + two(2))},
                                          std::chrono::month{two(5)}, std::chrono::day{two(8)}};
    return day.ok() && (text.size() < 16 || (two(11) < 24 && two(14) < 60)) && (text.size() < 19 || two(17) < 61);
}

struct Beside {
    std::string started_at, device;
    int channel = 1;  ///< the microphone's, from 1
};

/// What a recorder wrote about a recording, if it did.
Beside settings_beside(const std::string& sound_path) {
    Beside about;
    const auto path = RecordingNames{sound_path}.settings;
    if (!is_plain_file(path)) return about;
    const auto json = read_json_object(path);
    if (!json) return about;
    JsonFields fields{json.value(), path};
    about.started_at = printable(fields.text("started_at").value_or(""));
    about.device = printable(fields.text("device").value_or(""));
    about.channel = fields.whole("microphone_channel", 1, kMostChannels).value_or(1);
    return about;
}

Result<RowId> refuse_reading(const Casebook& book) {
    return Error{book.folder().path() + ": was opened to read only", ""};
}

/// Is it there, if one is named at all?
Result<Done> named_visit(const Casebook& book, std::optional<RowId> visit) {
    if (visit)
        if (const auto there = book.visit(*visit); !there) return there.error();
    return Done{};
}

/// A copy in the folder that cannot be written takes the row back.
void keep_copy(const Result<Done>& written) {
    if (!written) throw DatabaseFault{DatabaseFault::Kind::refused, written.error()};
}

}  // namespace

/// One transaction around `work`, whose RowId is handed out once it is on the disk.
template <class Work>
static Result<RowId> change(const Casebook& book, Database* database, Work work) {
    if (!database) return refuse_reading(book);
    return guarded([&]() -> Result<RowId> {
        Transaction all{*database};
        const RowId id = work(*database);
        all.commit();
        return id;
    });
}

Result<RowId> Casebook::set_engine(const Engine& engine) {
    try {
        check(engine);
    } catch (const std::invalid_argument& wrong) {
        return Error{wrong.what(), ""};
    }
    return change(*this, parts_->to_write(), [&](Database& db) {
        Statement{db, "INSERT INTO engine (text, added_at) VALUES (?, ?)"}
            .with(engine_json(engine).dump(2, ' ', false, Json::error_handler_t::replace))
            .with(now_text())
            .run();
        const auto id = db.last_row();
        keep_copy(write_engine(parts_->folder.path() + "/engine.json", engine));
        return id;
    });
}

namespace {

/// The name of the picture in the case that has these bytes; empty if there is none.
std::string picture_there(const CaseFolder& folder, std::string_view bytes) {
    for (const auto& name : folder.files("pictures")) {
        const auto path = folder.existing("pictures", name);
        std::error_code code;
        if (!path || fs::file_size(path.value(), code) != bytes.size()) continue;
        if (const auto there = picture_to_keep(path.value()); there && there.value() == bytes) return name;
    }
    return {};
}

/// The names that a table's rows hold, whether the files are there or not.
std::vector<std::string> names_held(Database& db, std::string_view table) {
    std::vector<std::string> names;
    Statement s{db, fmt::format("SELECT file FROM {}", table)};
    while (s.step()) names.push_back(s.text(0));
    return names;
}

Result<std::vector<std::string>> names_held_in(Database& db, std::string_view table) {
    return guarded([&]() -> Result<std::vector<std::string>> { return names_held(db, table); });
}

void insert_picture(Database& db, std::optional<RowId> visit, const std::string& path, const std::string& title) {
    Statement{db, "INSERT INTO picture (visit_id, file, title, added_at) VALUES (?, ?, ?, ?)"}
        .with(visit)
        .with(file_name(path))
        .with(kept(title, Casebook::kLongestName, "the title"))
        .with(now_text())
        .run();
}

}  // namespace

Result<RowId> Casebook::set_map(const BayMap& map, const std::string& beside) {
    const auto photo = map_photo(map, beside);
    if (!photo) return photo.error();
    return put_map(map, photo.value());
}

Result<RowId> Casebook::put_map(const BayMap& map, const std::string& photo) {
    if (!parts_->to_write()) return refuse_reading(*this);
    auto inside = map;
    std::string stored;
    if (!photo.empty()) {
        auto name = picture_there(parts_->folder, photo);
        if (name.empty()) {
            const auto held = names_held_in(parts_->db(), "picture");
            if (!held) return held.error();
            auto path = store_picture(parts_->folder, file_name(map.picture), photo, held.value());
            if (!path) return path.error();
            stored = path.value();
            name = file_name(stored);
        }
        inside.picture = fmt::format("{}{}", kPictureFolder, name);
    }
    auto id = change(*this, parts_->to_write(), [&](Database& db) {
        if (!stored.empty()) insert_picture(db, {}, stored, map.name);
        Statement{db, "INSERT INTO map (text, added_at) VALUES (?, ?)"}
            .with(map_json(inside).dump(2, ' ', false, Json::error_handler_t::replace))
            .with(now_text())
            .run();
        const auto row = db.last_row();
        keep_copy(write_map(parts_->folder.path() + "/map.json", inside));
        return row;
    });
    if (std::error_code ignored; !id && !stored.empty()) fs::remove(stored, ignored);
    return id;
}

Result<RowId> Casebook::add_visit(const Visit& visit) {
    const auto date = visit.date.empty() ? now_text() : visit.date;
    if (!is_date(date))
        return Error{fmt::format("date: \"{}\" is not a date", printable(date)),
                     "Write it as 2026-05-30 or 2026-05-30T14:30."};
    return change(*this, parts_->to_write(), [&](Database& db) {
        Statement{db, "INSERT INTO visit (date, title, warmth, device, gain, note) VALUES (?, ?, ?, ?, ?, ?)"}
            .with(date)
            .with(kept(visit.title, kLongestName, "the title of a visit", true))
            .with(word(visit.warmth))
            .with(kept(visit.device, kLongestName, "the device"))
            .with(kept(visit.gain, kLongestName, "the gain"))
            .with(kept(visit.note, kLongestText, "the note"))
            .run();
        return db.last_row();
    });
}

Result<RowId> Casebook::answer_gate(RowId visit, const std::string& question, const std::string& answer) {
    return change(*this, parts_->to_write(), [&](Database& db) {
        Statement{db, "INSERT INTO gate_answer (visit_id, question, answer, answered_at) VALUES (?, ?, ?, ?)"}
            .with(visit)
            .with(kept(question, kLongestText, "the question", true))
            .with(kept(answer, kLongestText, "the answer"))
            .with(now_text())
            .run();
        return db.last_row();
    });
}

Result<RowId> Casebook::add_log_entry(const LogEntry& entry) {
    if (const auto there = named_visit(*this, entry.visit); !there) return there.error();
    for (const auto& x : {entry.low, entry.high, entry.reading})
        if (x && !std::isfinite(*x))
            return Error{fmt::format("{}: {} is no reading and no limit", printable(entry.name), *x), ""};
    if (entry.low && entry.high && *entry.low > *entry.high)
        return Error{fmt::format("{}: the lower limit {:g} is above the upper limit {:g}", printable(entry.name),
                                 *entry.low, *entry.high),
                     ""};
    return change(*this, parts_->to_write(), [&](Database& db) {
        Statement{db,
                  "INSERT INTO log_entry (visit_id, name, low, high, unit, reading, state, note, added_at) "
                  "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"}
            .with(entry.visit)
            .with(kept(entry.name, kLongestName, "the name of a check", true))
            .with(entry.low)
            .with(entry.high)
            .with(kept(entry.unit, kLongestName, "the unit"))
            .with(entry.reading)
            .with(word(entry.state))
            .with(kept(entry.note, kLongestText, "the note"))
            .with(now_text())
            .run();
        return db.last_row();
    });
}

Result<RowId> Casebook::add_note(std::optional<RowId> visit, const std::string& text) {
    if (const auto there = named_visit(*this, visit); !there) return there.error();
    return change(*this, parts_->to_write(), [&](Database& db) {
        Statement{db, "INSERT INTO note (visit_id, text, added_at) VALUES (?, ?, ?)"}
            .with(visit)
            .with(kept(text, kLongestText, "the note", true))
            .with(now_text())
            .run();
        return db.last_row();
    });
}

Result<RowId> Casebook::add_picture(std::optional<RowId> visit, const std::string& path, const std::string& title) {
    if (!parts_->to_write()) return refuse_reading(*this);
    if (const auto there = named_visit(*this, visit); !there) return there.error();
    const auto bytes = picture_to_keep(path);
    if (!bytes) return bytes.error();
    const auto held = names_held_in(parts_->db(), "picture");
    if (!held) return held.error();
    const auto stored = store_picture(parts_->folder, file_name(path), bytes.value(), held.value());
    if (!stored) return stored.error();
    auto id = change(*this, parts_->to_write(), [&](Database& db) {
        insert_picture(db, visit, stored.value(), title);
        return db.last_row();
    });
    if (std::error_code ignored; !id) fs::remove(stored.value(), ignored);
    return id;
}

namespace {

void insert_gaps(Database& db, RowId recording, const std::string& sound_path) {
    Statement s{db, "INSERT INTO gap (recording_id, frame, lost_frames) VALUES (?, ?, ?)"};
    for (const auto& gap : read_gaps(sound_path)) {
        s.with(recording).with(static_cast<RowId>(gap.frame)).with(static_cast<RowId>(gap.lost_frames)).run();
        s.reset();
    }
}

void insert_mark(Database& db, RowId recording, double time_s, const std::string& spot, bool heard) {
    Statement{db, "INSERT INTO mark (recording_id, time_s, spot, source, added_at) VALUES (?, ?, ?, ?, ?)"}
        .with(recording)
        .with(time_s)
        .with(kept(spot, Casebook::kLongestName, "the spot", true))
        .with(heard ? "heard" : "hand")
        .with(now_text())
        .run();
}

}  // namespace

Result<RowId> Casebook::import_recording(RowId visit, RecordingKind kind, const std::string& path, int channel,
                                         std::span<const Mark> marks) {
    if (!parts_->to_write()) return refuse_reading(*this);
    if (const auto there = this->visit(visit); !there) return there.error();
    {
        const auto file = SoundFile::open(path, channel);
        if (!file) return file.error();
    }
    const auto about = settings_beside(path);
    const auto held = names_held_in(parts_->db(), "recording");
    if (!held) return held.error();
    const auto stored = store_sound(parts_->folder, path, held.value());
    if (!stored) return stored.error();
    const auto forget = [&stored] {
        std::error_code ignored;
        fs::remove(stored.value(), ignored);
        fs::remove(RecordingNames{stored.value()}.events, ignored);
    };
    const auto facts = sound_facts(stored.value());
    if (!facts) {
        forget();
        return facts.error();
    }
    auto id = change(*this, parts_->to_write(), [&](Database& db) {
        const auto& f = facts.value();
        Statement{db,
                  "INSERT INTO recording (visit_id, kind, file, original_name, channel, state, started_at, device, "
                  "sample_rate_hz, channels, frames, bytes, fingerprint, added_at) "
                  "VALUES (?, ?, ?, ?, ?, 'whole', ?, ?, ?, ?, ?, ?, ?, ?)"}
            .with(visit)
            .with(word(kind))
            .with(file_name(stored.value()))
            .with(kept(file_name(path), kLongestFileName, "the file's name"))
            .with(RowId{channel})
            .with(about.started_at)
            .with(about.device)
            .with(f.sample_rate_hz)
            .with(RowId{f.channels})
            .with(static_cast<RowId>(f.frames))
            .with(static_cast<RowId>(f.bytes))
            .with(f.fingerprint)
            .with(now_text())
            .run();
        const auto row = db.last_row();
        insert_gaps(db, row, stored.value());
        for (const auto& m : marks) insert_mark(db, row, m.time_s, m.spot, false);
        return row;
    });
    if (!id) forget();
    return id;
}

Result<Casebook::RunningRecording> Casebook::begin_recording(RowId visit, RecordingKind kind, const std::string& wish,
                                                             int channel, const std::string& device) {
    if (!parts_->to_write()) return refuse_reading(*this).error();
    std::string path;
    const auto id = change(*this, parts_->to_write(), [&](Database& db) {
        auto free = parts_->folder.fresh("audio", wish, names_held(db, "recording"));
        if (!free) throw DatabaseFault{DatabaseFault::Kind::refused, free.error()};
        path = std::move(free.value());
        Statement{db,
                  "INSERT INTO recording (visit_id, kind, file, original_name, channel, state, started_at, device, "
                  "added_at) VALUES (?, ?, ?, '', ?, 'running', ?, ?, ?)"}
            .with(visit)
            .with(word(kind))
            .with(file_name(path))
            .with(RowId{channel})
            .with(now_text())
            .with(kept(device, kLongestName, "the device"))
            .with(now_text())
            .run();
        return db.last_row();
    });
    if (!id) return id.error();
    return RunningRecording{id.value(), path};
}

Result<bool> Casebook::never_begun(const CaseRecording& recording) const {
    const auto audio = fs::path{parts_->folder.path()} / "audio";
    std::error_code code;
    if (!recording.running || !is_safe_name(recording.file) || !fs::is_directory(audio, code)) return false;
    // A recorder makes the sound before it says a word in the files beside it; those may be there, and empty.
    const RecordingNames names{(audio / recording.file).string()};
    if (fs::symlink_status(names.sound, code).type() != fs::file_type::not_found) return false;
    for (const auto& beside : {names.events, names.marks})
        if (const auto size = fs::file_size(beside, code); !code && size > 0) return false;
    const auto marked = marks(recording.id);
    if (!marked) return marked.error();
    return marked.value().empty();
}

Result<Done> Casebook::withdraw_recording(RowId recording) {
    if (!parts_->to_write()) return refuse_reading(*this).error();
    const auto row = this->recording(recording);
    if (!row) return row.error();
    const auto nothing = never_begun(row.value());
    if (!nothing) return nothing.error();
    if (!nothing.value())
        return Error{fmt::format("recording {} (audio/{}) has begun, so it stays", recording, row.value().file), ""};
    const auto done = change(*this, parts_->to_write(), [&](Database& db) {
        Statement{db, "DELETE FROM recording WHERE id = ? AND state = 'running'"}.with(recording).run();
        return recording;
    });
    if (!done) return done.error();
    return Done{};
}

Result<RowId> Casebook::adopt_recording(RowId visit, const std::string& file, std::string& unread) {
    if (!parts_->to_write()) return refuse_reading(*this);
    const auto path = parts_->folder.existing("audio", file);
    if (!path) return path.error();
    const auto about = settings_beside(path.value());
    const auto sound = SoundFile::open(path.value());
    if (!sound) return sound.error();
    auto id = change(*this, parts_->to_write(), [&](Database& db) {
        Statement{db,
                  "INSERT INTO recording (visit_id, kind, file, channel, state, started_at, device, added_at) "
                  "VALUES (?, 'bay', ?, ?, 'running', ?, ?, ?)"}
            .with(visit)
            .with(file)
            .with(RowId{about.channel <= sound.value().info().channels ? about.channel : 1})
            .with(about.started_at)
            .with(about.device)
            .with(now_text())
            .run();
        return db.last_row();
    });
    if (!id) return id;
    auto closed = finish_recording(id.value());
    if (!closed) return closed.error();
    unread = std::move(closed.value());
    return id;
}

Result<std::string> Casebook::finish_recording(RowId recording) {
    if (!parts_->to_write()) return refuse_reading(*this).error();
    const auto row = this->recording(recording);
    if (!row) return row.error();
    if (!row.value().running) return std::string{};
    const auto path = audio_path(row.value());
    if (!path) return path.error();
    const auto facts = sound_facts(path.value());
    if (!facts) return facts.error();
    const auto beside = marks_beside(path.value());
    const auto have = marks(recording);
    if (!have) return have.error();
    const auto done = change(*this, parts_->to_write(), [&](Database& db) {
        const auto& f = facts.value();
        Statement{db,
                  "UPDATE recording SET state = 'whole', sample_rate_hz = ?, channels = ?, frames = ?, bytes = ?, "
                  "fingerprint = ? WHERE id = ?"}
            .with(f.sample_rate_hz)
            .with(RowId{f.channels})
            .with(static_cast<RowId>(f.frames))
            .with(static_cast<RowId>(f.bytes))
            .with(f.fingerprint)
            .with(recording)
            .run();
        insert_gaps(db, recording, path.value());
        for (const auto& m : beside.marks) {
            const bool known = std::any_of(have.value().begin(), have.value().end(),
                                           [&](const CaseMark& k) { return same_mark(k, m); });
            if (!known) insert_mark(db, recording, m.time_s, m.spot, false);
        }
        return recording;
    });
    if (!done) return done.error();
    return beside.unread;
}

Result<RowId> Casebook::add_mark(RowId recording, double time_s, const std::string& spot, bool heard) {
    if (!(time_s >= 0.0) || !std::isfinite(time_s))
        return Error{fmt::format("a mark at {:g} s is not inside a recording", time_s), ""};
    return change(*this, parts_->to_write(), [&](Database& db) {
        insert_mark(db, recording, time_s, spot, heard);
        return db.last_row();
    });
}

Result<Done> Casebook::withdraw_mark(RowId mark) {
    const auto done = change(*this, parts_->to_write(), [&](Database& db) {
        Statement{db, "UPDATE mark SET withdrawn = 1 WHERE id = ?"}.with(mark).run();
        return mark;
    });
    if (!done) return done.error();
    return Done{};
}

Result<Done> Casebook::keep_guided(RowId visit, const VisitRecord& record) {
    const auto done = change(*this, parts_->to_write(), [&](Database& db) {
        Statement{db, "INSERT OR REPLACE INTO guided (visit_id, record, kept_at) VALUES (?, ?, ?)"}
            .with(visit)
            .with(visit_record_json(record).dump(-1, ' ', false, Json::error_handler_t::replace))
            .with(now_text())
            .run();
        return visit;
    });
    if (!done) return done.error();
    return Done{};
}

Result<RowId> Casebook::add_result(const CaseResult& result, std::span<const RpmReading> trace) {
    return change(*this, parts_->to_write(), [&](Database& db) {
        const auto json = [](const Json& j) { return j.dump(-1, ' ', false, Json::error_handler_t::replace); };
        Statement{
            db,
            "INSERT INTO result (visit_id, kind, program, made_at, engine_id, map_id, settings, outcome, figures) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"}
            .with(result.visit)
            .with(result.kind)
            .with(kThisProgram)
            .with(now_text())
            .with(result.engine)
            .with(result.map)
            .with(json(result.settings))
            .with(result.answered ? "answer" : "no answer")
            .with(json(result.figures))
            .run();
        const auto id = db.last_row();
        RowId place = 0;
        for (const auto& source : result.sources)
            Statement{db, "INSERT INTO result_recording VALUES (?, ?, ?, ?, ?)"}
                .with(id)
                .with(place++)
                .with(source.recording)
                .with(kept(source.label, kLongestName, "the label"))
                .with(source.gain_db)
                .run();
        if (!trace.empty())
            Statement{db, "INSERT INTO trace VALUES (?, ?)"}.with(id).with_bytes(trace_bytes(trace)).run();
        return id;
    });
}

}  // namespace idlehark
