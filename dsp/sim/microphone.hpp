#pragma once

#include "dsp/sim/source.hpp"

#include <limits>
#include <memory>

namespace idlehark::sim {

enum class MicrophoneKind {
    flat,         ///< nothing changed
    phone,        ///< high-pass at 140 Hz, 45 dB down at 100 Hz, a mild presence peak
    headset,      ///< cheap: 200-7000 Hz, fourth order
    stethoscope,  ///< low-pass 1.5 kHz with tube resonances
};

struct MicrophoneSpec {
    MicrophoneKind kind = MicrophoneKind::flat;
    double gain_db = 0.0;
    bool level_control = false;  ///< slow automatic gain towards -20 dBFS, at most +-12 dB
    double clip_level = std::numeric_limits<double>::infinity();  ///< samples beyond are cut to it (after the gain)
};

/// The sound as that microphone hands it out. Filters start at rest; about 0.1 s until they have settled.
[[nodiscard]] std::unique_ptr<Source> through_microphone(std::unique_ptr<Source> sound, const MicrophoneSpec& spec);

}  // namespace idlehark::sim
