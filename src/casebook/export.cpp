#include "src/casebook/export.hpp"

#include "src/casebook/case_text.hpp"
#include "src/casebook/casebook_parts.hpp"
#include "src/casebook/picture_store.hpp"
#include "src/casebook/sound_store.hpp"
#include "src/files/engine_file.hpp"
#include "src/files/json_text.hpp"
#include "src/files/text_file.hpp"

#include <algorithm>
#include <array>
#include <string_view>

#include <fmt/format.h>

namespace idlehark {

namespace {

namespace fs = std::filesystem;
constexpr std::array<std::string_view, 6> kPlainEndings{".flac", ".wav", ".ogg", ".aiff", ".aif", ".mp3"};

Result<Done> export_audio(const Casebook& book, const std::string& folder, Exported& done) {
    const auto recordings = book.recordings();
    if (!recordings) return recordings.error();
    for (const auto& r : recordings.value()) {
        const auto from = book.audio_path(r);
        if (!from) {
            done.left_out.push_back(from.error().what);
            continue;
        }
        const auto to = fmt::format("{}/audio/{}", folder, r.file);
        if (const auto copied = copy_file_safely(from.value(), to); !copied) return copied.error();
        if (const auto events = plain_events(from.value()))
            if (const auto written = write_safely(RecordingNames{to}.events, *events); !written) return written.error();
        // Sound editors' formats hold sound; a telephone's containers also hold its name and the place.
        if (std::none_of(kPlainEndings.begin(), kPlainEndings.end(),
                         [&](std::string_view ending) { return r.file.ends_with(ending); }))
            done.cautions.push_back(fmt::format(
                "audio/{} is a telephone's own file, which may say where and on what it was recorded", r.file));
        ++done.recordings;
    }
    return Done{};
}

/// The marks of a recording that is still running lie in the file beside it; some may be in the tables already.
void add_marks_beside(const Casebook& book, const CaseRecording& recording, const std::vector<CaseMark>& known,
                      MarksFile& file, Exported& done) {
    const auto path = book.audio_path(recording);
    if (!path) return;
    auto beside = marks_beside(path.value());
    if (!beside.unread.empty()) done.left_out.push_back(std::move(beside.unread));
    for (auto& m : beside.marks)
        if (std::none_of(known.begin(), known.end(), [&](const CaseMark& k) { return same_mark(k, m); }))
            file.marks.push_back(std::move(m));
}

Result<Done> export_marks(const Casebook& book, const std::string& folder, Exported& done) {
    const auto recordings = book.recordings();
    if (!recordings) return recordings.error();
    for (const auto& r : recordings.value()) {
        const auto marks = book.marks(r.id);
        if (!marks) return marks.error();
        MarksFile file;
        for (const auto& m : marks.value())
            if (!m.withdrawn) file.marks.push_back({.time_s = m.time_s, .spot = m.spot, .extra = {}, .line = 0});
        if (r.running) add_marks_beside(book, r, marks.value(), file, done);
        if (file.marks.empty() || !is_safe_name(r.file)) continue;
        const auto name = RecordingNames{fmt::format("{}/audio/{}", folder, r.file)}.marks;
        if (const auto written = write_marks(name, file); !written) return written.error();
    }
    return Done{};
}

Result<Done> export_pictures(const Casebook& book, const std::string& folder, Exported& done) {
    const auto pictures = book.pictures();
    if (!pictures) return pictures.error();
    for (const auto& p : pictures.value()) {
        const auto from = book.picture_path(p);
        if (!from) {
            done.left_out.push_back(from.error().what);
            continue;
        }
        // Cleaned once more: an older program, or a hand that copied it there, may have left something in it.
        const auto clean = picture_to_keep(from.value());
        if (!clean) {
            done.left_out.push_back(clean.error().what);
            continue;
        }
        const auto to = fmt::format("{}/pictures/{}", folder, p.file);
        if (const auto written = write_safely(to, clean.value()); !written) return written.error();
        ++done.pictures;
    }
    return Done{};
}

/// The tables without what tells about devices; VACUUM leaves nothing of it in free pages.
void export_tables(const Casebook& book, const std::string& file) {
    book.tables().copy_to(file);
    Database copy{file, Database::Mode::read_write};
    copy.execute(
        "BEGIN; UPDATE recording SET device = '', original_name = ''; UPDATE visit SET device = ''; COMMIT; VACUUM;");
}

}  // namespace

Result<Exported> export_case(const Casebook& book, const std::string& folder, bool with_audio) {
    std::error_code code;
    if (is_there(folder) && !(fs::is_directory(folder, code) && fs::is_empty(folder, code)))
        return Error{folder + ": exists already", "Nothing is overwritten: choose another folder."};
    for (const auto* part : {"/audio", "/pictures"})
        if (fs::create_directories(folder + part, code); code)
            return Error{fmt::format("{}: cannot be made ({})", folder, code.message()), ""};
    Exported done;
    if (with_audio)
        if (const auto audio = export_audio(book, folder, done); !audio) return audio.error();
    if (const auto marks = export_marks(book, folder, done); !marks) return marks.error();
    if (const auto pictures = export_pictures(book, folder, done); !pictures) return pictures.error();
    const auto json = case_json(book, {});
    if (!json) return json.error();
    if (const auto written =
            write_text(folder + "/case.json", json.value().dump(2, ' ', false, Json::error_handler_t::replace) + "\n");
        !written)
        return written.error();
    if (const auto engine = book.engine())
        if (const auto written = write_engine(folder + "/engine.json", engine.value().engine); !written)
            return written.error();
    if (const auto map = book.map(); map && map.value())
        if (const auto written = write_map(folder + "/map.json", map.value()->map); !written) return written.error();
    return guarded([&]() -> Result<Exported> {
        export_tables(book, folder + "/case.sqlite");
        return done;
    });
}

}  // namespace idlehark
