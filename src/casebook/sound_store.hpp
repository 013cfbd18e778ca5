#pragma once

#include "src/casebook/case_folder.hpp"
#include "src/recording/marks_journal.hpp"
#include "src/result.hpp"

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace idlehark {

/// What a sound file says about itself, and a fingerprint (FNV-1a, 64 bit, hexadecimal) of its bytes: enough to see
/// that a file was damaged or exchanged by mistake, no protection against forgery.
struct SoundFacts {
    double sample_rate_hz = 0.0;
    int channels = 0;
    std::uint64_t frames = 0;
    std::uint64_t bytes = 0;
    std::string fingerprint;
};

Result<SoundFacts> sound_facts(const std::string& path);
/// The fingerprint alone.
Result<std::string> fingerprint_of(const std::string& path);

/// The events file beside a recording without what it tells about the device; nothing if there is none.
[[nodiscard]] std::optional<std::string> plain_events(const std::string& sound_path);

/// The marks of the file beside a recording; none if there is no such file.
[[nodiscard]] JournalMarks marks_beside(const std::string& sound_path);

/// Copies a recording into audio/ and returns the path there. Whole PCM files of at most 24 bits become FLAC, after the
/// copy was read back and found equal sample by sample; all else (float, lossy, broken off) is copied byte for byte.
/// An events file beside it comes along, without the device's name. `held`: as in CaseFolder::fresh().
Result<std::string> store_sound(const CaseFolder& folder, const std::string& path,
                                const std::vector<std::string>& held = {});

}  // namespace idlehark
