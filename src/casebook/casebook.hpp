#pragma once

#include "dsp/engine.hpp"
#include "dsp/idle_tracker.hpp"
#include "src/casebook/case_folder.hpp"
#include "src/files/map_file.hpp"
#include "src/files/marks_file.hpp"
#include "src/recording/recorder.hpp"
#include "src/result.hpp"
#include "src/visit/spray_visit.hpp"

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace idlehark {

class Database;

/// The number of a row, from 1; the same for ever.
using RowId = std::int64_t;

enum class Warmth { not_said, warm, cold };
enum class LogState { ok, faulty, not_done };
/// What a recording is of: the whole engine from outside (idle, spray test), or a probe on an injector or at a joint.
enum class RecordingKind { bay, injector, hiss };

struct CaseCar {
    std::string name, created_at, program;
};

struct CaseEngine {
    RowId id = 0;
    Engine engine;
    std::string added_at;
};

struct CaseMap {
    RowId id = 0;
    BayMap map;
    std::string added_at;
};

/// One day at the car: everything recorded and found then.
struct Visit {
    RowId id = 0;
    std::string date{};  ///< YYYY-MM-DD, or with THH:MM[:SS] behind it
    std::string title{};
    Warmth warmth = Warmth::not_said;
    std::string device{}, gain{}, note{};
};

struct GateAnswer {
    RowId id = 0, visit = 0;
    std::string question, answer, answered_at;
};

/// What was ruled out by other means: a line of the elimination log. A later line of the same name supersedes.
struct LogEntry {
    RowId id = 0;
    std::optional<RowId> visit;
    std::string name;                 ///< "fuel pressure"
    std::optional<double> low, high;  ///< from the user's own manual
    std::string unit;
    std::optional<double> reading;
    LogState state = LogState::not_done;
    std::string note, added_at;
};

struct CaseRecording {
    RowId id = 0, visit = 0;
    RecordingKind kind = RecordingKind::bay;
    std::string file;           ///< bare name in audio/
    std::string original_name;  ///< bare name of the file it was taken from
    int channel = 1;
    bool running = false;  ///< being recorded, or its recording was cut off and not closed
    std::string started_at, device;
    double sample_rate_hz = 0.0;  ///< 0 while running, as the next three
    int channels = 0;
    std::uint64_t frames = 0, bytes = 0;
    std::string fingerprint;  ///< of the file's bytes
    [[nodiscard]] double length_s() const {
        return sample_rate_hz > 0.0 ? static_cast<double>(frames) / sample_rate_hz : 0.0;
    }
};

struct CaseMark {
    RowId id = 0, recording = 0;
    double time_s = 0.0;
    std::string spot;
    bool heard = false;      ///< placed by the can's hiss, not by hand
    bool withdrawn = false;  ///< taken back by the user
};

struct CaseResult;  ///< case_result.hpp

struct CaseNote {
    RowId id = 0;
    std::optional<RowId> visit;
    std::string text, added_at;
};

/// How the case's map names the photo it lies on: this and a bare name.
inline constexpr std::string_view kPictureFolder = "pictures/";

struct CasePicture {
    RowId id = 0;
    std::optional<RowId> visit;
    std::string file;  ///< bare name in pictures/
    std::string title, added_at;
};

[[nodiscard]] std::string_view word(Warmth w) noexcept;
[[nodiscard]] std::string_view word(LogState s) noexcept;
[[nodiscard]] std::string_view word(RecordingKind k) noexcept;

/// One car's records, in one folder: see CaseFolder and schema.cpp.
/// Safety   a call that returns Done or an id has its change on the disk: nothing that ends the program or the power
///          later undoes it. A call that fails has changed nothing. No call overwrites or deletes what was recorded.
/// Sharing  several programs may have the case open at once; one that writes makes the others wait up to 10 s. (Not on
///          network file systems that lack shared memory.)
/// Versions a case of an older layout is brought up to date when opened to write (a copy is kept beside it), and read
///          through a private copy otherwise; a newer one is refused.
/// Errors   name the file and what to do. Text is at most kLongestText bytes, a name kLongestName; `printable` is
/// applied. Threads  one owner at a time.
class Casebook {
   public:
    enum class Access { read, write };
    static constexpr std::size_t kLongestName = 200;
    static constexpr std::size_t kLongestText = 100'000;

    /// Makes the folder and an empty case in it; nothing a case is made of may be there. `beside`: as in set_map().
    static Result<Casebook> create(const std::string& folder, const std::string& name, const Engine& engine,
                                   const std::optional<BayMap>& map, const std::string& beside = {});
    static Result<Casebook> open(const std::string& folder, Access access);
    ~Casebook();
    Casebook(Casebook&&) noexcept;
    Casebook& operator=(Casebook&&) noexcept;

    // Reading. Lists are in the order of time, then of entry.
    Result<CaseCar> car() const;
    Result<CaseEngine> engine(std::optional<RowId> id = {}) const;           ///< the latest unless named
    Result<std::optional<CaseMap>> map(std::optional<RowId> id = {}) const;  ///< the latest; nothing if there is none
    Result<std::vector<Visit>> visits() const;
    Result<Visit> visit(RowId id) const;
    Result<std::vector<GateAnswer>> gate_answers(RowId visit) const;
    Result<std::vector<LogEntry>> log() const;
    Result<std::vector<CaseRecording>> recordings(std::optional<RowId> visit = {}) const;
    Result<CaseRecording> recording(RowId id) const;
    Result<std::vector<CaseMark>> marks(RowId recording) const;  ///< by time; withdrawn ones too
    Result<std::vector<RecordedGap>> gaps(RowId recording) const;
    Result<std::vector<CaseResult>> results(std::optional<RowId> visit = {}) const;  ///< all; later ones supersede
    /// The latest of each kind (and of each recording, for idle, spray and balance) of a visit.
    Result<std::vector<CaseResult>> latest_results(RowId visit) const;
    /// The idle speed over time that a result was made from; empty if it keeps none. Speeds to about 1e-4 rpm.
    Result<std::vector<RpmReading>> trace(RowId result) const;
    /// The same of a recording: from the latest result of it alone that keeps one.
    Result<std::vector<RpmReading>> trace_of_recording(RowId recording) const;
    /// The guided spray test of a visit as it was kept last; nothing if there is none.
    Result<std::optional<VisitRecord>> guided(RowId visit) const;
    Result<std::vector<CaseNote>> notes() const;
    Result<std::vector<CasePicture>> pictures() const;

    /// Where a recording's sound or a picture lies, once it is sure that it lies inside the case.
    Result<std::string> audio_path(const CaseRecording& recording) const;
    Result<std::string> picture_path(const CasePicture& picture) const;
    [[nodiscard]] const CaseFolder& folder() const noexcept;
    [[nodiscard]] Database& tables() const noexcept;  ///< for check, repair and export

    // Writing. `id` and `added_at` of what is given are ignored.
    Result<RowId> set_engine(const Engine& engine);  ///< from now on; results keep the engine they were made with
    /// The photo it lies on is copied into pictures/ as add_picture() does, unless it is there; the case's map names it
    /// by "pictures/NAME". `beside`: the folder that a photo without a whole path is sought in.
    Result<RowId> set_map(const BayMap& map, const std::string& beside = {});
    Result<RowId> add_visit(const Visit& visit);
    Result<RowId> answer_gate(RowId visit, const std::string& question, const std::string& answer);
    Result<RowId> add_log_entry(const LogEntry& entry);
    Result<RowId> add_note(std::optional<RowId> visit, const std::string& text);
    /// Copies a .jpg or .png into pictures/, without what the camera wrote about itself and the place.
    Result<RowId> add_picture(std::optional<RowId> visit, const std::string& path, const std::string& title);

    /// Copies a recording into audio/: PCM up to 24 bits as FLAC, proven equal sample by sample, all else byte for
    /// byte. Gaps, start and device are taken from the files beside it. `marks` may be empty.
    Result<RowId> import_recording(RowId visit, RecordingKind kind, const std::string& path, int channel,
                                   std::span<const Mark> marks);
    /// For a recording that is about to be made: a free path in audio/ like `wish` ("bay.flac"), noted as running. If
    /// it cannot begin, withdraw_recording().
    struct RunningRecording {
        RowId id = 0;
        std::string path;
    };
    Result<RunningRecording> begin_recording(RowId visit, RecordingKind kind, const std::string& wish, int channel,
                                             const std::string& device);
    /// Is nothing there of a recording noted as running: no sound, no mark, nor a word in the files beside it?
    Result<bool> never_begun(const CaseRecording& recording) const;
    /// Takes the note of such a recording back, as where the microphone did not open. Errors: it has begun.
    Result<Done> withdraw_recording(RowId recording);
    /// Length and fingerprint of what was recorded, gaps and marks of the files beside it that are not here yet. The
    /// text names what of the marks file could not be read, to be told to the user; mostly empty.
    Result<std::string> finish_recording(RowId recording);
    /// Takes in a sound file that lies in audio/ already, with the marks and gaps beside it. `unread`: as
    /// finish_recording() returns it.
    Result<RowId> adopt_recording(RowId visit, const std::string& file, std::string& unread);
    Result<RowId> add_mark(RowId recording, double time_s, const std::string& spot, bool heard = false);
    Result<Done> withdraw_mark(RowId mark);
    /// Keeps a guided spray test as it stands, for `guided` to go on from; call it after each event. A VisitRecord only
    /// ever grows, so the one kept before is replaced.
    Result<Done> keep_guided(RowId visit, const VisitRecord& record);
    /// Stores figures under this program's version; `trace` may be empty. Kept whole or not at all.
    Result<RowId> add_result(const CaseResult& result, std::span<const RpmReading> trace);

   private:
    struct Parts;
    explicit Casebook(std::unique_ptr<Parts> parts) noexcept;
    /// `photo`: as map_photo() read it.
    Result<RowId> put_map(const BayMap& map, const std::string& photo);
    std::unique_ptr<Parts> parts_;
};

}  // namespace idlehark
