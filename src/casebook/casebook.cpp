#include "src/casebook/casebook.hpp"

#include "src/casebook/case_result.hpp"
#include "src/casebook/casebook_parts.hpp"
#include "src/casebook/visit_record.hpp"
#include "src/files/engine_file.hpp"
#include "src/files/plain_text.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>
#include <cstring>
#include <map>

#include <fmt/format.h>

namespace idlehark {

namespace {

namespace fs = std::filesystem;

constexpr std::array<std::string_view, 3> kWarmthWords{"not said", "warm", "cold"};
constexpr std::array<std::string_view, 3> kLogWords{"ok", "faulty", "not done"};
constexpr std::array<std::string_view, 3> kKindWords{"bay", "injector", "hiss"};
constexpr std::size_t kReading_bytes = 16;

template <class Enum, std::size_t N>
Enum enum_of(const std::array<std::string_view, N>& words, const std::string& text) {
    const auto at = std::find(words.begin(), words.end(), text);
    return at == words.end() ? Enum{} : static_cast<Enum>(at - words.begin());
}

std::optional<RowId> id_at(const Statement& s, int column) {
    return s.null(column) ? std::nullopt : std::optional<RowId>{s.whole(column)};
}
std::optional<double> number_at(const Statement& s, int column) {
    return s.null(column) ? std::nullopt : std::optional{s.number(column)};
}
std::uint64_t count_at(const Statement& s, int column) {
    return static_cast<std::uint64_t>(std::max<std::int64_t>(s.whole(column), 0));
}

Visit visit_at(const Statement& s) {
    return {s.whole(0),           printable(s.text(1)), printable(s.text(2)), enum_of<Warmth>(kWarmthWords, s.text(3)),
            printable(s.text(4)), printable(s.text(5)), printable(s.text(6))};
}
constexpr std::string_view kVisitColumns = "SELECT id, date, title, warmth, device, gain, note FROM visit";

CaseRecording recording_at(const Statement& s) {
    CaseRecording r;
    r.id = s.whole(0);
    r.visit = s.whole(1);
    r.kind = enum_of<RecordingKind>(kKindWords, s.text(2));
    r.file = printable(s.text(3));
    r.original_name = printable(s.text(4));
    r.channel = static_cast<int>(s.whole(5));
    r.running = s.text(6) == "running";
    r.started_at = printable(s.text(7));
    r.device = printable(s.text(8));
    r.sample_rate_hz = s.null(9) ? 0.0 : s.number(9);
    r.channels = static_cast<int>(s.whole(10));
    r.frames = count_at(s, 11);
    r.bytes = count_at(s, 12);
    r.fingerprint = printable(s.text(13));
    return r;
}
constexpr std::string_view kRecordingColumns =
    "SELECT id, visit_id, kind, file, original_name, channel, state, started_at, device, sample_rate_hz, channels, "
    "frames, bytes, fingerprint FROM recording";

Error missing(std::string_view what, RowId id) {
    return {fmt::format("the case has no {} {}", what, id), "`idlehark case show CASE` lists what it has."};
}

}  // namespace

std::string_view word(Warmth w) noexcept { return kWarmthWords[static_cast<std::size_t>(w)]; }
std::string_view word(LogState s) noexcept { return kLogWords[static_cast<std::size_t>(s)]; }
std::string_view word(RecordingKind k) noexcept { return kKindWords[static_cast<std::size_t>(k)]; }

Casebook::Casebook(std::unique_ptr<Parts> parts) noexcept : parts_(std::move(parts)) {}
Casebook::~Casebook() = default;
Casebook::Casebook(Casebook&&) noexcept = default;
Casebook& Casebook::operator=(Casebook&&) noexcept = default;

const CaseFolder& Casebook::folder() const noexcept { return parts_->folder; }
Database& Casebook::tables() const noexcept { return parts_->db(); }

Result<CaseCar> Casebook::car() const {
    return guarded([&]() -> Result<CaseCar> {
        Statement s{parts_->db(), "SELECT name, created_at, program FROM car"};
        if (!s.step()) return Error{parts_->folder.path() + ": says nothing about its car", kRepairHint};
        return CaseCar{printable(s.text(0)), printable(s.text(1)), printable(s.text(2))};
    });
}

Result<CaseEngine> Casebook::engine(std::optional<RowId> id) const {
    return guarded([&]() -> Result<CaseEngine> {
        Statement s{parts_->db(), id ? "SELECT id, text, added_at FROM engine WHERE id = ?"
                                     : "SELECT id, text, added_at FROM engine ORDER BY id DESC LIMIT 1"};
        if (id) s.with(*id);
        if (!s.step())
            return id ? missing("engine", *id) : Error{parts_->folder.path() + ": holds no engine", kEngineHint};
        const auto name = fmt::format("engine {} of the case", s.whole(0));
        const auto json = parse_json_object(s.text(1), name);
        if (!json) return json.error();
        auto file = engine_from_json(json.value(), name);
        if (!file) return file.error();
        file.value().engine.name = printable(file.value().engine.name);
        return CaseEngine{s.whole(0), std::move(file.value().engine), printable(s.text(2))};
    });
}

Result<std::optional<CaseMap>> Casebook::map(std::optional<RowId> id) const {
    return guarded([&]() -> Result<std::optional<CaseMap>> {
        Statement s{parts_->db(), id ? "SELECT id, text, added_at FROM map WHERE id = ?"
                                     : "SELECT id, text, added_at FROM map ORDER BY id DESC LIMIT 1"};
        if (id) s.with(*id);
        if (!s.step()) {
            if (id) return missing("map", *id);
            return std::optional<CaseMap>{};
        }
        const auto name = fmt::format("map {} of the case", s.whole(0));
        const auto json = parse_json_object(s.text(1), name);
        if (!json) return json.error();
        auto file = map_from_json(json.value(), name, kMostCylinders);
        if (!file) return file.error();
        auto& map = file.value().map;
        map.name = printable(map.name);
        for (auto& spot : map.spots) {
            spot.spot = printable(spot.spot);
            spot.name = printable(spot.name);
        }
        return std::optional{CaseMap{s.whole(0), std::move(map), printable(s.text(2))}};
    });
}

Result<std::vector<Visit>> Casebook::visits() const {
    return guarded([&]() -> Result<std::vector<Visit>> {
        std::vector<Visit> list;
        Statement s{parts_->db(), fmt::format("{} ORDER BY date, id", kVisitColumns)};
        while (s.step()) list.push_back(visit_at(s));
        return list;
    });
}

Result<Visit> Casebook::visit(RowId id) const {
    return guarded([&]() -> Result<Visit> {
        Statement s{parts_->db(), fmt::format("{} WHERE id = ?", kVisitColumns)};
        if (!s.with(id).step()) return missing("visit", id);
        return visit_at(s);
    });
}

Result<std::vector<GateAnswer>> Casebook::gate_answers(RowId visit) const {
    return guarded([&]() -> Result<std::vector<GateAnswer>> {
        std::vector<GateAnswer> list;
        Statement s{
            parts_->db(),
            "SELECT id, visit_id, question, answer, answered_at FROM gate_answer WHERE visit_id = ? ORDER BY id"};
        s.with(visit);
        while (s.step())
            list.push_back({s.whole(0), s.whole(1), printable(s.text(2)), printable(s.text(3)), printable(s.text(4))});
        return list;
    });
}

Result<std::vector<LogEntry>> Casebook::log() const {
    return guarded([&]() -> Result<std::vector<LogEntry>> {
        std::vector<LogEntry> list;
        Statement s{parts_->db(),
                    "SELECT id, visit_id, name, low, high, unit, reading, state, note, added_at FROM log_entry "
                    "ORDER BY id"};
        while (s.step())
            list.push_back({s.whole(0), id_at(s, 1), printable(s.text(2)), number_at(s, 3), number_at(s, 4),
                            printable(s.text(5)), number_at(s, 6), enum_of<LogState>(kLogWords, s.text(7)),
                            printable(s.text(8)), printable(s.text(9))});
        return list;
    });
}

Result<std::vector<CaseRecording>> Casebook::recordings(std::optional<RowId> visit) const {
    return guarded([&]() -> Result<std::vector<CaseRecording>> {
        std::vector<CaseRecording> list;
        Statement s{parts_->db(),
                    fmt::format("{}{} ORDER BY id", kRecordingColumns, visit ? " WHERE visit_id = ?" : "")};
        if (visit) s.with(*visit);
        while (s.step()) list.push_back(recording_at(s));
        return list;
    });
}

Result<CaseRecording> Casebook::recording(RowId id) const {
    return guarded([&]() -> Result<CaseRecording> {
        Statement s{parts_->db(), fmt::format("{} WHERE id = ?", kRecordingColumns)};
        if (!s.with(id).step()) return missing("recording", id);
        return recording_at(s);
    });
}

Result<std::vector<CaseMark>> Casebook::marks(RowId recording) const {
    return guarded([&]() -> Result<std::vector<CaseMark>> {
        std::vector<CaseMark> list;
        Statement s{parts_->db(),
                    "SELECT id, recording_id, time_s, spot, source, withdrawn FROM mark WHERE recording_id = ? "
                    "ORDER BY time_s, id"};
        s.with(recording);
        while (s.step())
            list.push_back(
                {s.whole(0), s.whole(1), s.number(2), printable(s.text(3)), s.text(4) == "heard", s.whole(5) != 0});
        return list;
    });
}

Result<std::vector<RecordedGap>> Casebook::gaps(RowId recording) const {
    return guarded([&]() -> Result<std::vector<RecordedGap>> {
        std::vector<RecordedGap> list;
        Statement s{parts_->db(), "SELECT frame, lost_frames FROM gap WHERE recording_id = ? ORDER BY frame, id"};
        s.with(recording);
        while (s.step()) list.push_back({.frame = count_at(s, 0), .lost_frames = count_at(s, 1)});
        return list;
    });
}

Result<std::vector<CaseResult>> Casebook::results(std::optional<RowId> visit) const {
    return guarded([&]() -> Result<std::vector<CaseResult>> {
        std::vector<CaseResult> list;
        std::map<RowId, std::size_t> place;
        Statement s{parts_->db(),
                    fmt::format("SELECT id, visit_id, kind, program, made_at, engine_id, map_id, settings, outcome, "
                                "figures FROM result{} ORDER BY id",
                                visit ? " WHERE visit_id = ?" : "")};
        if (visit) s.with(*visit);
        while (s.step()) {
            CaseResult r;
            r.id = s.whole(0);
            r.visit = s.whole(1);
            r.kind = printable(s.text(2));
            r.program = printable(s.text(3));
            r.made_at = printable(s.text(4));
            r.engine = s.whole(5);
            r.map = id_at(s, 6);
            r.settings = stored_json_object(s.text(7));
            r.answered = s.text(8) == "answer";
            r.figures = stored_json_object(s.text(9));
            place[r.id] = list.size();
            list.push_back(std::move(r));
        }
        Statement sources{parts_->db(),
                          visit
                              ? "SELECT result_id, recording_id, label, gain_db FROM result_recording WHERE result_id "
                                "IN (SELECT id FROM result WHERE visit_id = ?) ORDER BY result_id, place"
                              : "SELECT result_id, recording_id, label, gain_db FROM result_recording ORDER BY "
                                "result_id, place"};
        if (visit) sources.with(*visit);
        while (sources.step())
            if (const auto at = place.find(sources.whole(0)); at != place.end())
                list[at->second].sources.push_back({sources.whole(1), printable(sources.text(2)), sources.number(3)});
        return list;
    });
}

Result<std::vector<CaseResult>> Casebook::latest_results(RowId visit) const {
    auto all = results(visit);
    if (!all) return all.error();
    std::map<std::pair<std::string, RowId>, std::size_t> last;
    auto& list = all.value();
    for (std::size_t i = 0; i < list.size(); ++i) {
        const auto& kind = list[i].kind;  // a visit has one guided test, however many recordings
        const bool of_one = kind != "injectors" && kind != "hiss" && kind != "guided" && list[i].sources.size() == 1;
        last[{list[i].kind, of_one ? list[i].sources.front().recording : 0}] = i;
    }
    std::vector<std::size_t> kept;
    kept.reserve(last.size());
    for (const auto& [key, i] : last) kept.push_back(i);
    std::sort(kept.begin(), kept.end());
    std::vector<CaseResult> latest;
    latest.reserve(kept.size());
    for (const auto i : kept) latest.push_back(std::move(list[i]));
    return latest;
}

Result<std::vector<RpmReading>> Casebook::trace(RowId result) const {
    return guarded([&]() -> Result<std::vector<RpmReading>> {
        Statement s{parts_->db(), "SELECT readings FROM trace WHERE result_id = ?"};
        std::vector<RpmReading> readings;
        if (!s.with(result).step()) return readings;
        const auto bytes = s.bytes(0);
        for (std::size_t at = 0; at + kReading_bytes <= bytes.size(); at += kReading_bytes) {
            std::array<float, 4> v{};
            std::memcpy(v.data(), bytes.data() + at, kReading_bytes);
            readings.push_back({.time_s = static_cast<double>(v[0]),
                                .rpm = static_cast<double>(v[1]),
                                .rpm_low = static_cast<double>(v[2]),
                                .rpm_high = static_cast<double>(v[3]),
                                .locked = std::isfinite(v[1])});
        }
        return readings;
    });
}

Result<std::vector<RpmReading>> Casebook::trace_of_recording(RowId recording) const {
    return guarded([&]() -> Result<std::vector<RpmReading>> {
        Statement s{parts_->db(),
                    "SELECT trace.result_id FROM result_recording AS own JOIN trace USING (result_id) "
                    "WHERE recording_id = ? AND (SELECT COUNT(*) FROM result_recording AS every "
                    "WHERE every.result_id = own.result_id) = 1 ORDER BY trace.result_id DESC LIMIT 1"};
        if (!s.with(recording).step()) return std::vector<RpmReading>{};
        return trace(s.whole(0));
    });
}

std::string trace_bytes(std::span<const RpmReading> readings) {
    std::string bytes;
    bytes.reserve(readings.size() * kReading_bytes);
    for (const auto& r : readings) {
        const std::array<float, 4> v{static_cast<float>(r.time_s), static_cast<float>(r.rpm),
                                     static_cast<float>(r.rpm_low), static_cast<float>(r.rpm_high)};
        bytes.append(reinterpret_cast<const char*>(v.data()), kReading_bytes);
    }
    return bytes;
}

Result<std::optional<VisitRecord>> Casebook::guided(RowId visit) const {
    return guarded([&]() -> Result<std::optional<VisitRecord>> {
        Statement s{parts_->db(), "SELECT record FROM guided WHERE visit_id = ?"};
        if (!s.with(visit).step()) return std::optional<VisitRecord>{};
        const auto name = fmt::format("the guided test of visit {}", visit);
        const auto json = parse_json_object(s.text(0), name);
        if (!json) return json.error();
        auto record = visit_record_from_json(json.value(), name);
        if (!record) return record.error();
        return std::optional{std::move(record.value())};
    });
}

Result<std::vector<CaseNote>> Casebook::notes() const {
    return guarded([&]() -> Result<std::vector<CaseNote>> {
        std::vector<CaseNote> list;
        Statement s{parts_->db(), "SELECT id, visit_id, text, added_at FROM note ORDER BY id"};
        while (s.step()) list.push_back({s.whole(0), id_at(s, 1), printable(s.text(2)), printable(s.text(3))});
        return list;
    });
}

Result<std::vector<CasePicture>> Casebook::pictures() const {
    return guarded([&]() -> Result<std::vector<CasePicture>> {
        std::vector<CasePicture> list;
        Statement s{parts_->db(), "SELECT id, visit_id, file, title, added_at FROM picture ORDER BY id"};
        while (s.step())
            list.push_back({s.whole(0), id_at(s, 1), printable(s.text(2)), printable(s.text(3)), printable(s.text(4))});
        return list;
    });
}

Result<std::string> Casebook::audio_path(const CaseRecording& recording) const {
    return parts_->folder.existing("audio", recording.file);
}

Result<std::string> Casebook::picture_path(const CasePicture& picture) const {
    return parts_->folder.existing("pictures", picture.file);
}

}  // namespace idlehark
