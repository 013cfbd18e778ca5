#pragma once

#include "src/casebook/casebook.hpp"
#include "src/casebook/database.hpp"

#include <cmath>
#include <filesystem>
#include <memory>
#include <optional>
#include <utility>

namespace idlehark {

inline constexpr const char* kRepairHint =
    "`idlehark case repair CASE` keeps all that can still be read, and says what was lost.";
inline constexpr const char* kEngineHint = "Give it one: idlehark case add CASE engine engine.json";
inline constexpr int kMostCylinders = 12;
/// Marks of one spot nearer than this are one mark that was noted in two places.
inline constexpr double kSameMark_s = 0.002;
[[nodiscard]] inline bool same_mark(const CaseMark& a, const Mark& b) {
    return a.spot == b.spot && std::fabs(a.time_s - b.time_s) < kSameMark_s;
}
inline constexpr const char* kThisProgram = "idlehark " IDLEHARK_VERSION;

/// A folder of temporary files that goes away with the object.
class PrivateFolder {
   public:
    PrivateFolder();
    ~PrivateFolder();
    PrivateFolder(const PrivateFolder&) = delete;
    PrivateFolder& operator=(const PrivateFolder&) = delete;
    [[nodiscard]] const std::filesystem::path& path() const noexcept { return path_; }

   private:
    std::filesystem::path path_;
};

struct Casebook::Parts {
    explicit Parts(CaseFolder f) : folder(std::move(f)) {}
    [[nodiscard]] Database& db() const { return *database; }
    /// Nothing if the case was opened to read.
    [[nodiscard]] Database* to_write() const { return writable ? database.get() : nullptr; }

    CaseFolder folder;
    std::unique_ptr<PrivateFolder> copy;  ///< of a case that can't be read in place; outlives the database
    std::unique_ptr<Database> database;
    bool writable = false;
};

/// Runs what may throw a DatabaseFault; the fault becomes the Result's error.
template <class Work>
auto guarded(Work work) -> decltype(work()) {
    try {
        return work();
    } catch (const DatabaseFault& fault) {
        return fault.error;
    }
}

/// As `trace` stores it: four little-endian floats a reading: time, speed, low, high; NaN where there is none.
[[nodiscard]] std::string trace_bytes(std::span<const RpmReading> readings);

}  // namespace idlehark
