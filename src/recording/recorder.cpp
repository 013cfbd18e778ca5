#include "src/recording/recorder.hpp"

#include "src/files/csv.hpp"
#include "src/files/json_text.hpp"
#include "src/files/text_file.hpp"
#include "src/recording/append_file.hpp"
#include "src/recording/sound_handle.hpp"

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <cmath>
#include <condition_variable>
#include <cstring>
#include <filesystem>
#include <mutex>
#include <optional>
#include <thread>

#include <fcntl.h>
#include <fmt/format.h>
#include <sndfile.h>
#include <sys/statvfs.h>
#include <unistd.h>

namespace idlehark {

namespace {

constexpr double kHeaderEvery_s = 0.25;
constexpr auto kSyncEvery = std::chrono::milliseconds{250};
constexpr std::uint64_t kLargestWav_bytes = 4'000'000'000;  // the header's length has 32 bits
constexpr std::size_t kLargestEvents_bytes = 16U << 20U;

/// A count of frames; nothing for what can be none.
std::optional<std::uint64_t> frames_in(std::string_view field) {
    constexpr double kMost = 9e15;  // all whole numbers up to here are doubles
    const auto x = parse_number(field);
    if (!x || *x < 0.0 || *x > kMost) return {};
    return static_cast<std::uint64_t>(*x);
}

/// Pushes a file to the disk again and again, on a thread of its own: a slow disk may take seconds for it.
class Syncer {
   public:
    explicit Syncer(int fd)
        : thread_([this, fd](const std::stop_token& stop) {
              std::unique_lock lock{mutex_};
              while (!stop.stop_requested()) {
                  wake_.wait_for(lock, stop, kSyncEvery, [] { return false; });
                  fdatasync(fd);
              }
          }) {}

   private:
    std::mutex mutex_;
    std::condition_variable_any wake_;
    std::jthread thread_;  // last: stops and joins before the rest goes
};

}  // namespace

RecordingNames::RecordingNames(const std::string& sound_path) : sound(sound_path) {
    const auto stem = std::filesystem::path{sound_path}.replace_extension().string();
    marks = stem + ".marks.csv";
    events = stem + ".events.csv";
    settings = stem + ".settings.json";
}

std::optional<std::string> RecordingNames::taken() const {
    for (const auto* name : {&sound, &marks, &events, &settings})
        if (is_there(*name)) return *name;
    return {};
}

std::string next_part(const std::string& sound_path) {
    const std::filesystem::path path{sound_path};
    const auto stem = std::filesystem::path{path}.replace_extension().string();
    for (int n = 2;; ++n) {
        auto name = fmt::format("{}-part{}{}", stem, n, path.extension().string());
        if (!RecordingNames{name}.taken()) return name;
    }
}

std::vector<RecordedGap> read_gaps(const std::string& sound_path) {
    std::vector<RecordedGap> gaps;
    const auto events = RecordingNames{sound_path}.events;
    if (!is_plain_file(events)) return gaps;
    const auto text = read_text(events, kLargestEvents_bytes);
    if (!text) return gaps;
    for (const auto& row : split_csv(text.value()).rows) {
        if (row.fields.size() != 4 || row.fields[2] != "gap") continue;
        const auto frame = frames_in(row.fields[1]);
        if (frame) gaps.push_back({.frame = *frame, .lost_frames = frames_in(row.fields[3]).value_or(0)});
    }
    return gaps;
}

struct Recorder::Parts {
    RecordingNames names;
    RecordingSettings settings;
    std::uint64_t reserve_bytes;
    AppendFile events;
    int fd = -1;
    SoundHandle sound;
    std::optional<Syncer> syncer;
    std::uint64_t frames = 0;
    std::uint64_t header_due_frame = 0;
    bool is_wav = false;

    Parts(RecordingNames n, RecordingSettings s, std::uint64_t reserve, AppendFile e)
        : names(std::move(n)), settings(std::move(s)), reserve_bytes(reserve), events(std::move(e)) {}
    ~Parts() {
        syncer.reset();
        sound.reset();
        if (fd >= 0) close(fd);
    }
    Parts(const Parts&) = delete;
    Parts& operator=(const Parts&) = delete;

    [[nodiscard]] double seconds() const { return static_cast<double>(frames) / settings.sample_rate_hz; }
    Result<Done> event(std::string_view what, std::string_view detail) {
        return events.append(fmt::format("{:.3f},{},{},{}\n", seconds(), frames, what, csv_field(detail)));
    }
    /// Refreshes the header and looks whether there is room for more.
    Result<Done> checkpoint() {
        sf_command(sound.get(), SFC_UPDATE_HEADER_NOW, nullptr, 0);
        struct statvfs disk {};
        if (fstatvfs(fd, &disk) == 0 && std::uint64_t{disk.f_bavail} * disk.f_frsize < reserve_bytes)
            return Error{fmt::format("the disk is full; {} keeps the {:.1f} s up to here", names.sound, seconds()),
                         "Make room, then go on in a new part with --resume."};
        const auto bytes = frames * static_cast<std::uint64_t>(settings.channels) * 3;
        if (is_wav && bytes > kLargestWav_bytes)
            return Error{fmt::format("{} has reached 4 GB, the most a WAV file holds", names.sound),
                         "Go on in a new part with --resume; FLAC has no such limit."};
        return Done{};
    }
};

Recorder::Recorder(std::unique_ptr<Parts> parts) noexcept : parts_(std::move(parts)) {}
Recorder::~Recorder() = default;
Recorder::Recorder(Recorder&&) noexcept = default;

/// `made`: the files that it made, also where it fails.
Result<std::unique_ptr<Recorder::Parts>> Recorder::begin(const RecordingNames& names, const RecordingSettings& settings,
                                                         std::uint64_t reserve_bytes, std::vector<std::string>& made) {
    SF_INFO info{};
    info.samplerate = static_cast<int>(std::lround(settings.sample_rate_hz));
    info.channels = settings.channels;
    info.format = (names.sound.ends_with(".wav") ? SF_FORMAT_WAV : SF_FORMAT_FLAC) | SF_FORMAT_PCM_24;
    Json json{{"program", "idlehark " IDLEHARK_VERSION},
              {"started_at", settings.started_at},
              {"device", settings.device},
              {"sample_rate_hz", settings.sample_rate_hz},
              {"channels", settings.channels},
              {"microphone_channel", settings.microphone_channel}};
    if (!settings.continues.empty()) json["continues"] = settings.continues;
    const auto text = json.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
    auto about = AppendFile::create(names.settings);
    if (!about) return about.error();
    made.push_back(names.settings);
    if (const auto written = about.value().append(text); !written) return written.error();
    auto events = AppendFile::create(names.events);
    if (!events) return events.error();
    made.push_back(names.events);

    auto parts = std::make_unique<Parts>(names, settings, reserve_bytes, std::move(events.value()));
    const auto& path = names.sound;
    parts->is_wav = path.ends_with(".wav");
    parts->fd = ::open(path.c_str(), O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0644);
    if (parts->fd < 0) return Error{fmt::format("{}: cannot be written ({})", path, std::strerror(errno)), ""};
    made.push_back(path);
    parts->sound.reset(sf_open_fd(parts->fd, SFM_WRITE, &info, SF_FALSE));
    if (!parts->sound) return Error{fmt::format("{}: cannot be written ({})", path, sf_strerror(nullptr)), ""};
    sync_folder_of(path);
    if (const auto written = parts->events.append("time_s,frame,event,detail\n"); !written) return written.error();
    if (const auto written = parts->event("start", settings.device); !written) return written.error();
    parts->syncer.emplace(parts->fd);
    return parts;
}

Result<Recorder> Recorder::create(const std::string& path, const RecordingSettings& settings,
                                  std::uint64_t reserve_bytes) {
    if (!path.ends_with(".wav") && !path.ends_with(".flac"))
        return Error{path + ": a recording is written as .wav or .flac", ""};
    const RecordingNames names{path};
    if (const auto name = names.taken())
        return Error{*name + ": exists already",
                     "Nothing is overwritten: choose another name, or go on in a new part with --resume."};
    std::vector<std::string> made;
    auto begun = begin(names, settings, reserve_bytes, made);
    if (begun) return Recorder{std::move(begun.value())};
    for (const auto& name : made) ::unlink(name.c_str());  // nothing is left in the way of the next try
    return begun.error();
}

Result<Done> Recorder::write(std::span<const std::int32_t> interleaved) {
    auto& p = *parts_;
    const auto frames = static_cast<sf_count_t>(interleaved.size()) / p.settings.channels;
    const auto wrote = sf_writef_int(p.sound.get(), interleaved.data(), frames);
    p.frames += static_cast<std::uint64_t>(std::max<sf_count_t>(wrote, 0));
    if (wrote != frames)
        return Error{
            fmt::format("the disk is full or gone; {} keeps the {:.1f} s up to here", p.names.sound, p.seconds()),
            "Make room, then go on in a new part with --resume."};
    if (p.frames < p.header_due_frame) return Done{};
    p.header_due_frame = p.frames + static_cast<std::uint64_t>(kHeaderEvery_s * p.settings.sample_rate_hz);
    return p.checkpoint();
}

Result<Done> Recorder::gap(std::uint64_t lost_frames) {
    return parts_->event("gap", lost_frames > 0 ? std::to_string(lost_frames) : "");
}

Result<Done> Recorder::finish(const std::string& why) {
    auto& p = *parts_;
    p.syncer.reset();
    SNDFILE* sound = p.sound.release();
    const int code = sound ? sf_close(sound) : 0;
    const bool on_disk = fsync(p.fd) == 0;
    const auto trouble = errno;
    auto noted = p.event("end", why);
    if (code == 0 && !on_disk)
        return Error{fmt::format("{}: its end may not be on the disk ({})", p.names.sound, std::strerror(trouble)), ""};
    if (code != 0) return Error{fmt::format("{}: closing failed ({})", p.names.sound, sf_error_number(code)), ""};
    return noted;
}

std::uint64_t Recorder::frames() const noexcept { return parts_->frames; }
const RecordingNames& Recorder::names() const noexcept { return parts_->names; }

}  // namespace idlehark
