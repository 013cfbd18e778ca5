#pragma once

#include "dsp/engine.hpp"
#include "dsp/sim/disturbers.hpp"
#include "dsp/sim/engine_sound.hpp"
#include "dsp/sim/microphone.hpp"
#include "dsp/sim/source.hpp"
#include "dsp/sim/speed_path.hpp"

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace idlehark::sim {

struct BaySpot {
    std::string id;  ///< "1", "2", ...
    std::string name;
    std::string kind;  ///< "gasket", "injector seal", "hose", "throttle body", "shaft"
    double x_mm = 0.0;
    double y_mm = 0.0;
    std::optional<int> cylinder;
};

/// A plausible bay: gasket and injector seal of each cylinder in a row, the rest (hoses, throttle body, plenum) round
/// it.
[[nodiscard]] std::vector<BaySpot> draw_bay(const Engine& engine, int spots, std::uint64_t seed);

/// Change of idle speed when spray closes a hole with fuel, for simulation only: the leak's choked air flow as a share
/// of an idle's own air (4.2 g/s, a two-litre engine) times an invented 150 rpm.
[[nodiscard]] double leak_rpm_from_hole(double diameter_mm);

/// What the hands do.
struct HandsSpec {
    double burst_duration_s = 1.0;
    double duration_spread = 0.1;   ///< standard deviation, as a share
    double amount_spread = 0.0;     ///< of how much reaches the spot, as a share
    double miss_probability = 0.0;  ///< nothing arrives
    double mark_error_s = 0.0;      ///< standard deviation of the noted times
    double overspray_share = 0.0;   ///< what each spot within reach of the sprayed one receives
    double reach_mm = 60.0;
};

struct SoundSpec {
    double background_snr_db = 10.0;  ///< pink noise; +infinity: none
    double hiss_level_db = 0.0;       ///< can against all the rest within the hiss band
    double fan_snr_db = std::numeric_limits<double>::infinity();
    double hum_snr_db = std::numeric_limits<double>::infinity();
    double speech_snr_db = std::numeric_limits<double>::infinity();
    double music_snr_db = std::numeric_limits<double>::infinity();
    FanSpec fan;
    HumSpec hum;
    SpeechSpec speech;
    MusicSpec music;
    MicrophoneSpec microphone{.kind = MicrophoneKind::phone};
};

struct SessionSpec {
    std::uint64_t seed = 1;
    EngineSoundSpec engine;  ///< seed and sample rate in it are used as they stand
    std::vector<BaySpot> spots;
    std::vector<double> leak_rpm;  ///< per spot, signed, 0: tight; what a full burst changes at most
    int bursts_per_spot = 3;
    double spacing_s = 14.0;  ///< between starts of sprays
    double quiet_start_s = 25.0;
    double quiet_end_s = 15.0;
    BurstShape shape;
    SpeedPathSpec idle;  ///< everything but bursts, duration and strokes, which the session fills in
    HandsSpec hands;
    SoundSpec sound;
};

struct SessionBurst {
    double time_s;  ///< true start of the spray
    double duration_s;
    std::size_t spot;  ///< index into spots: where the can pointed
    double amount;     ///< what arrived, 1: as intended, 0: missed
};

struct SessionMark {
    double time_s;  ///< as noted by the user
    std::size_t spot;
};

/// A spray session that did not happen, with its truth. Spots are visited in blocks, each spot once per block in random
/// order. The speed path is made at once (cheap); sound only when asked for.
/// Errors   constructor: std::invalid_argument (no spots, leak list of another length, and as SpeedPath, EngineSound).
class Session {
   public:
    explicit Session(const SessionSpec& spec);

    [[nodiscard]] const SessionSpec& spec() const noexcept { return spec_; }
    [[nodiscard]] const SpeedPath& path() const noexcept { return path_; }
    [[nodiscard]] const std::vector<SessionMark>& marks() const noexcept { return marks_; }     ///< ascending in time
    [[nodiscard]] const std::vector<SessionBurst>& bursts() const noexcept { return bursts_; }  ///< same order as marks
    [[nodiscard]] double duration_s() const noexcept { return path_.duration_s(); }
    /// What the microphone hands out; endless (stop at duration_s()). A new sound from frame 0 at each call.
    [[nodiscard]] std::unique_ptr<Source> sound() const;

   private:
    SessionSpec spec_;
    std::vector<SessionBurst> bursts_;
    std::vector<SessionMark> marks_;
    SpeedPath path_;
};

/// The engine on this path and everything that sounds beside it, but no spray can; at the engine's sample rate.
[[nodiscard]] std::unique_ptr<Mix> mix_without_can(const SessionSpec& spec, const SpeedPath& path);

/// A random engine of 3, 4, 5, 6 or 8 cylinders (four-stroke, idle 650-1000 rpm), ordinary cylinder differences.
[[nodiscard]] EngineSoundSpec draw_engine(std::uint64_t seed, double sample_rate_hz);

/// Steady hands, hunting up to 7 rpm, wander, slow drift, a little background noise. The leaks go to random spots; what
/// the list leaves out is tight. Change any field before giving it to Session.
[[nodiscard]] SessionSpec plain_session(std::uint64_t seed, const std::vector<double>& leaks_rpm, int spots = 12,
                                        double sample_rate_hz = 48000.0);
/// The same with everything that hands, bay and engine do: marks 0.4 s off, uneven bursts (25 %), one in ten missing,
/// 30 % to neighbours within reach, loads that come and go, unprovoked steps, drift, fan, more noise.
[[nodiscard]] SessionSpec disturbed_session(std::uint64_t seed, const std::vector<double>& leaks_rpm, int spots = 12,
                                            double sample_rate_hz = 48000.0);
/// One to three leaks of 8-40 rpm, one in five of them a fall, for callers that have no wish.
[[nodiscard]] std::vector<double> draw_leaks(std::uint64_t seed);

}  // namespace idlehark::sim
