#include "src/casebook/sound_store.hpp"

#include "src/files/csv.hpp"
#include "src/files/file_handle.hpp"
#include "src/files/text_file.hpp"
#include "src/recording/recorder.hpp"
#include "src/recording/sound_file.hpp"
#include "src/recording/sound_handle.hpp"

#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <memory>
#include <optional>
#include <vector>

#include <fcntl.h>
#include <fmt/format.h>
#include <sndfile.h>
#include <unistd.h>

namespace idlehark {

namespace {

constexpr std::size_t kBlock_bytes = 1U << 18U;
constexpr sf_count_t kBlockFrames = 16384;
constexpr int kMostFlacChannels = 8;
constexpr std::size_t kLargestEvents_bytes = 16U << 20U;

/// The FLAC sample format that holds this one exactly.
std::optional<int> flac_format(const SF_INFO& info) {
    const int container = info.format & SF_FORMAT_TYPEMASK;
    if (container != SF_FORMAT_WAV && container != SF_FORMAT_WAVEX && container != SF_FORMAT_AIFF &&
        container != SF_FORMAT_W64 && container != SF_FORMAT_RF64 && container != SF_FORMAT_CAF &&
        container != SF_FORMAT_AU)
        return {};
    if (info.channels > kMostFlacChannels) return {};
    switch (info.format & SF_FORMAT_SUBMASK) {
        case SF_FORMAT_PCM_U8:
        case SF_FORMAT_PCM_S8:
            return SF_FORMAT_PCM_S8;
        case SF_FORMAT_PCM_16:
            return SF_FORMAT_PCM_16;
        case SF_FORMAT_PCM_24:
            return SF_FORMAT_PCM_24;
        default:
            return {};
    }
}

bool write_flac(const std::string& from, const std::string& to) {
    SF_INFO info{};
    const SoundHandle in{sf_open(from.c_str(), SFM_READ, &info)};
    const auto samples = in ? flac_format(info) : std::nullopt;
    if (!samples) return false;
    const int fd = open(to.c_str(), O_RDWR | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0644);
    if (fd < 0) return false;
    bool good = true;
    {
        SF_INFO made{};
        made.samplerate = info.samplerate;
        made.channels = info.channels;
        made.format = SF_FORMAT_FLAC | *samples;
        SoundHandle out{sf_open_fd(fd, SFM_WRITE, &made, SF_FALSE)};
        good = out != nullptr;
        std::vector<int> block(static_cast<std::size_t>(kBlockFrames * info.channels));
        for (sf_count_t got = 1; good && got > 0;) {
            got = sf_readf_int(in.get(), block.data(), kBlockFrames);
            good = sf_writef_int(out.get(), block.data(), got) == got;
        }
        if (SNDFILE* last = out.release(); last && sf_close(last) != 0) good = false;
    }
    good = good && fsync(fd) == 0;
    close(fd);
    return good;
}

/// Do both files hold the same samples, rate and channels?
bool equal_sound(const std::string& a, const std::string& b) {
    SF_INFO ia{};
    SF_INFO ib{};
    const SoundHandle fa{sf_open(a.c_str(), SFM_READ, &ia)};
    const SoundHandle fb{sf_open(b.c_str(), SFM_READ, &ib)};
    if (!fa || !fb || ia.samplerate != ib.samplerate || ia.channels != ib.channels || ia.frames != ib.frames)
        return false;
    const auto size = static_cast<std::size_t>(kBlockFrames * ia.channels);
    std::vector<float> xa(size);
    std::vector<float> xb(size);
    for (sf_count_t left = ia.frames; left > 0;) {
        const auto got = sf_readf_float(fa.get(), xa.data(), kBlockFrames);
        if (got <= 0 || sf_readf_float(fb.get(), xb.data(), kBlockFrames) != got) return false;
        if (!std::equal(xa.begin(), xa.begin() + static_cast<std::ptrdiff_t>(got * ia.channels), xb.begin()))
            return false;
        left -= got;
    }
    return true;
}

bool breaks_off(const std::string& path) {
    auto file = SoundFile::open(path);
    if (!file) return true;
    while (!file.value().read().empty()) {
    }
    return file.value().warning().has_value();
}

}  // namespace

Result<std::string> fingerprint_of(const std::string& path) {
    const FileHandle file{std::fopen(path.c_str(), "rb")};
    if (!file) return Error{path + ": cannot be read", ""};
    std::uint64_t hash = 0xcbf29ce484222325U;
    std::vector<unsigned char> block(kBlock_bytes);
    for (std::size_t got = 1; got > 0;) {
        got = std::fread(block.data(), 1, block.size(), file.get());
        for (std::size_t i = 0; i < got; ++i) hash = (hash ^ block[i]) * 0x100000001b3U;
    }
    if (std::ferror(file.get())) return Error{path + ": reading failed", ""};
    return fmt::format("{:016x}", hash);
}

Result<SoundFacts> sound_facts(const std::string& path) {
    auto file = SoundFile::open(path);
    if (!file) return file.error();
    auto fingerprint = fingerprint_of(path);
    if (!fingerprint) return fingerprint.error();
    std::error_code code;
    const auto size = std::filesystem::file_size(path, code);
    const auto info = file.value().info();
    auto frames = info.frames;
    if (frames == 0) {  // some containers do not say
        while (!file.value().read().empty()) {
        }
        frames = file.value().frames_read();
    }
    return SoundFacts{info.sample_rate_hz, info.channels, frames, code ? 0 : size, std::move(fingerprint.value())};
}

std::optional<std::string> plain_events(const std::string& sound_path) {
    const auto path = RecordingNames{sound_path}.events;
    if (!is_plain_file(path)) return {};
    const auto text = read_text(path, kLargestEvents_bytes);
    if (!text) return {};
    std::string plain = "time_s,frame,event,detail\n";
    const auto table = split_csv(text.value());
    for (std::size_t i = 1; i < table.rows.size(); ++i) {
        const auto& f = table.rows[i].fields;
        if (f.size() != 4) continue;
        plain += fmt::format("{},{},{},{}\n", csv_field(f[0]), csv_field(f[1]), csv_field(f[2]),
                             f[2] == "gap" ? csv_field(f[3]) : "");
    }
    return plain;
}

JournalMarks marks_beside(const std::string& sound_path) {
    const auto path = RecordingNames{sound_path}.marks;
    // In a folder from somebody else it may be a link, or a pipe that nobody ever writes to.
    std::error_code code;
    if (std::filesystem::symlink_status(path, code).type() != std::filesystem::file_type::regular) return {};
    return read_journal(path);
}

Result<std::string> store_sound(const CaseFolder& folder, const std::string& path,
                                const std::vector<std::string>& held) {
    if (const auto file = SoundFile::open(path); !file) return file.error();
    const std::filesystem::path name{safe_name(std::filesystem::path{path}.filename().string())};
    std::string stored;
    SF_INFO info{};
    const SoundHandle probe{sf_open(path.c_str(), SFM_READ, &info)};
    if (probe && flac_format(info) && !breaks_off(path)) {
        const auto target =
            folder.fresh("audio", std::filesystem::path{name}.replace_extension(".flac").string(), held);
        if (!target) return target.error();
        const auto beside = target.value() + ".part";
        unlink(beside.c_str());
        if (write_flac(path, beside) && equal_sound(path, beside)) {
            if (const auto named = name_safely(beside, target.value()); !named) return named.error();
            stored = target.value();
        } else {
            unlink(beside.c_str());
        }
    }
    if (stored.empty()) {
        const auto target = folder.fresh("audio", name.string(), held);
        if (!target) return target.error();
        if (const auto copied = copy_file_safely(path, target.value()); !copied) return copied.error();
        stored = target.value();
    }
    if (const auto events = plain_events(path))
        if (const auto written = write_safely(RecordingNames{stored}.events, *events); !written) return written.error();
    return stored;
}

}  // namespace idlehark
