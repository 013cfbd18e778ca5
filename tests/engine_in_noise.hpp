#pragma once

#include "dsp/sim/disturbers.hpp"
#include "dsp/sim/engine_sound.hpp"
#include "dsp/sim/microphone.hpp"
#include "dsp/sim/speed_path.hpp"

#include <cstdint>
#include <functional>
#include <memory>
#include <vector>

namespace idlehark::test {

/// A simulated engine in noise, heard by a telephone in the open; `disturb` adds what else sounds.
inline std::vector<float> engine_in_noise(const sim::EngineSoundSpec& spec, const sim::SpeedPath& path, double snr_db,
                                          std::uint64_t noise_seed,
                                          const std::function<void(sim::Mix&)>& disturb = {}) {
    auto mix = std::make_unique<sim::Mix>(std::make_unique<sim::EngineSound>(spec, path));
    mix->add_at_snr(sim::make_source(sim::NoiseSpec{}, spec.sample_rate_hz, noise_seed), snr_db, sim::Mix::kHeardBand,
                    5.0);
    if (disturb) disturb(*mix);
    auto heard = sim::through_microphone(std::move(mix), {.kind = sim::MicrophoneKind::phone});
    return sim::render_seconds(*heard, path.duration_s());
}

}  // namespace idlehark::test
