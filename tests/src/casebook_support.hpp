#pragma once

#include "src/casebook/casebook.hpp"
#include "src/recording/marks_journal.hpp"
#include "src/recording/sample24.hpp"
#include "src/recording/sound_file.hpp"
#include "tests/src/support.hpp"

#include <string>

#include <sndfile.h>

namespace idlehark::test {

[[nodiscard]] Engine example_engine();
[[nodiscard]] BayMap example_map();

/// A case "Marlow" with engine and map.
[[nodiscard]] Casebook new_case(const std::string& folder);

/// A 100 Hz tone as 16-bit WAV (or what the ending says) at 16 kHz; returns its path.
std::string tone_file(const ScratchFolder& folder, const std::string& name, double seconds);

/// Two channels of unlike noise, half a second at 16 kHz, in a libsndfile format.
std::string stereo_file(const ScratchFolder& folder, const std::string& name, int format);

}  // namespace idlehark::test
