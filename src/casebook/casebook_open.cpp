#include "src/casebook/casebook_parts.hpp"
#include "src/casebook/picture_store.hpp"
#include "src/casebook/schema.hpp"
#include "src/files/engine_file.hpp"
#include "src/files/json_text.hpp"
#include "src/files/local_time.hpp"
#include "src/files/plain_text.hpp"
#include "src/files/text_file.hpp"

#include <cerrno>
#include <cstring>
#include <stdexcept>

#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

namespace idlehark {

namespace {

namespace fs = std::filesystem;
using Kind = DatabaseFault::Kind;

constexpr const char* kOtherFolderHint = "Nothing is overwritten: choose another folder.";
constexpr const char* kCaseHint = "A case is a folder made by `idlehark case new`.";

Error newer(const std::string& path, int version) {
    return {fmt::format("{}: was written by a newer Idlehark (case layout {}; this program knows up to {})", path,
                        version, schema::kVersion),
            "Use the newer program for this case. Nothing in it was changed."};
}

std::uintmax_t size_of(const std::string& path) {
    std::error_code code;
    const auto size = fs::file_size(path, code);
    return code ? 0 : size;
}

/// A copy that nobody else has, for a case that cannot be opened where it is: brought up to date there.
void open_copy(const std::string& from, std::unique_ptr<PrivateFolder>& copy, std::unique_ptr<Database>& database) {
    copy = std::make_unique<PrivateFolder>();
    const auto to = (copy->path() / "case.sqlite").string();
    for (const auto* ending : {"", "-wal"}) {
        struct stat info {};
        if (lstat((from + ending).c_str(), &info) != 0 || !S_ISREG(info.st_mode)) continue;
        if (const auto copied = copy_file_safely(from + ending, to + ending); !copied)
            throw DatabaseFault{Kind::other, copied.error()};
    }
    database = std::make_unique<Database>(to, Database::Mode::read_write);
    const int version = schema::version(*database);
    if (version < schema::kVersion) schema::verify(*database, version);
    schema::migrate(*database, version);
}

/// A case that stands still can be read without files beside it; otherwise a copy must do.
std::unique_ptr<Database> open_still(const std::string& path, std::unique_ptr<PrivateFolder>& copy) {
    std::unique_ptr<Database> database;
    if (size_of(path + "-wal") == 0)
        database = std::make_unique<Database>(path, Database::Mode::frozen);
    else
        open_copy(path, copy, database);
    return database;
}

/// What of a case was made before the rest could not be; nothing of it was there before.
void take_back(const CaseFolder& folder, bool with_folder) {
    std::error_code ignored;
    for (const auto* made : {"case.sqlite", "case.sqlite-wal", "case.sqlite-shm", "case.sqlite-journal", "audio",
                             "pictures", "engine.json", "map.json"})
        fs::remove_all(fs::path{folder.path()} / made, ignored);
    if (with_folder) fs::remove(folder.path(), ignored);
}

void keep_old_layout(Database& database, const CaseFolder& folder, int version) {
    const auto kept = folder.fresh("", fmt::format("case-layout{}.sqlite", version));
    if (!kept) throw DatabaseFault{Kind::other, kept.error()};
    database.copy_to(kept.value());
}

}  // namespace

PrivateFolder::PrivateFolder() {
    auto pattern = (fs::temp_directory_path() / "idlehark-XXXXXX").string();
    if (!mkdtemp(pattern.data()))
        throw DatabaseFault{Kind::other,
                            {fmt::format("{}: no folder can be made there ({})", pattern, std::strerror(errno)), ""}};
    path_ = pattern;
}

PrivateFolder::~PrivateFolder() {
    std::error_code ignored;
    fs::remove_all(path_, ignored);
}

Result<Casebook> Casebook::create(const std::string& path, const std::string& name, const Engine& engine,
                                  const std::optional<BayMap>& map, const std::string& beside) {
    try {
        check(engine);
    } catch (const std::invalid_argument& wrong) {
        return Error{wrong.what(), ""};
    }
    const auto title = printable(name);
    if (title.empty() || title.size() > kLongestName)
        return Error{fmt::format("the name of the car has {} bytes; 1..{} are allowed", title.size(), kLongestName),
                     ""};
    const auto photo = map_photo(map.value_or(BayMap{}), beside);
    if (!photo) return photo.error();
    std::error_code code;
    const bool made_folder = fs::create_directories(path, code);
    if (code) return Error{fmt::format("{}: cannot be made ({})", path, code.message()), ""};
    const CaseFolder folder{path};
    const bool begun = is_there(folder.database());
    if (is_there(folder.path() + "/audio") || is_there(folder.path() + "/pictures") ||
        (begun && size_of(folder.database()) > 0))
        return Error{folder.path() + ": holds a case already", kOtherFolderHint};
    for (const auto* copy : {"engine.json", "map.json"})
        if (is_there(fmt::format("{}/{}", folder.path(), copy)))
            return Error{fmt::format("{}: holds {} already, which a case would write anew", folder.path(), copy),
                         kOtherFolderHint};
    bool ours = false;
    auto created = guarded([&]() -> Result<Casebook> {
        auto parts = std::make_unique<Parts>(folder);
        parts->writable = true;
        parts->database =
            std::make_unique<Database>(folder.database(), begun ? Database::Mode::read_write : Database::Mode::create);
        auto& db = *parts->database;
        {
            Transaction all{db};
            schema::create(db);
            const auto now = now_text();
            Statement{db, "INSERT INTO car VALUES (1, ?, ?, ?)"}.with(title).with(now).with(kThisProgram).run();
            Statement{db, "INSERT INTO engine (text, added_at) VALUES (?, ?)"}
                .with(engine_json(engine).dump(2))
                .with(now)
                .run();
            all.commit();
            ours = true;
        }
        schema::start_journal(db);
        for (const auto* part : {"/audio", "/pictures"})
            if (fs::create_directory(folder.path() + part, code); code)
                return Error{fmt::format("{}{}: cannot be made ({})", folder.path(), part, code.message()), ""};
        if (const auto written = write_engine(folder.path() + "/engine.json", engine); !written) return written.error();
        Casebook made{std::move(parts)};
        if (map)
            if (const auto kept = made.put_map(*map, photo.value()); !kept) return kept.error();
        return made;
    });
    if (!created && ours) take_back(folder, made_folder);
    return created;
}

Result<Casebook> Casebook::open(const std::string& path, Access access) {
    auto parts = std::make_unique<Parts>(CaseFolder{path});
    const auto& folder = parts->folder;
    const auto file = folder.database();
    struct stat info {};
    if (stat(folder.path().c_str(), &info) != 0)
        return Error{fmt::format("{}: {}", path, std::strerror(errno)), kCaseHint};
    if (lstat(file.c_str(), &info) != 0) return Error{path + ": holds no case (case.sqlite is not there)", kCaseHint};
    if (!S_ISREG(info.st_mode))
        return Error{file + ": is not an ordinary file", "Links inside a case are not followed."};
    const bool writable = folder.writable() && ::access(file.c_str(), W_OK) == 0;
    if (access == Access::write && !writable)
        return Error{path + ": is read-only, so nothing can be added",
                     "Copy the folder to a place where you may write, or change its permissions."};
    if (access == Access::write && info.st_nlink > 1)
        return Error{file + ": has a second name somewhere else (a hard link), and would be changed there too",
                     "Copy the folder, as with cp -r, and use the copy."};
    return guarded([&]() -> Result<Casebook> {
        auto& db = parts->database;
        if (access == Access::write) {
            parts->writable = true;
            db = std::make_unique<Database>(file, Database::Mode::read_write);
            const int version = schema::version(*db);
            if (schema::newer(version)) return newer(file, version);
            if (version < schema::kVersion) {
                schema::verify(*db, version);
                keep_old_layout(*db, folder, version);
                schema::migrate(*db, version);
            }
            schema::start_journal(*db);
        } else {
            try {
                if (!writable) throw DatabaseFault{Kind::read_only, {}};
                db = std::make_unique<Database>(file, Database::Mode::read);
                static_cast<void>(schema::version(*db));
            } catch (const DatabaseFault& fault) {
                // A read-only folder, or a disk too full for the files that reading needs beside the case.
                if (fault.kind == Kind::damaged || fault.kind == Kind::busy) throw;
                db.reset();
                db = open_still(file, parts->copy);
            }
            const int version = schema::version(*db);
            if (schema::newer(version)) return newer(file, version);
            if (version < schema::kVersion && !parts->copy) {
                db.reset();
                open_copy(file, parts->copy, db);
            }
        }
        schema::verify(*db);
        return Casebook{std::move(parts)};
    });
}

}  // namespace idlehark
