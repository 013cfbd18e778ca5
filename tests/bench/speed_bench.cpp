// Speed of the idle tracker, next to the bare transforms of the same hops and to a general-purpose pitch tracker
// (aubio, yinfft) on the same sound.
//   speed_bench [--seconds S]
// Processor time of one thread; sound made beforehand. The pitch tracker is asked for the firing frequency, told no
// range, window and hop as near to ours as it takes.
#include "dsp/idle_tracker.hpp"
#include "dsp/real_fft.hpp"
#include "dsp/sim/disturbers.hpp"
#include "dsp/sim/engine_sound.hpp"
#include "dsp/sim/microphone.hpp"
#include "dsp/track/front_end.hpp"
#include "tests/bench/rows.hpp"
#include "tests/bench/words.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <vector>

#include <aubio/aubio.h>

using namespace idlehark;

namespace {

template <class Do>
double timed(Do&& act) {
    const double start_s = bench::own_time_s();
    act();
    return bench::own_time_s() - start_s;
}

/// The transforms that the tracker makes, and nothing else: seven slopes of the lines and three of each envelope every
/// tenth of a second, whitening there and back and three templates of each signal every half second.
void bare_transforms(double seconds) {
    const Signals rates = FrontEnd(48000.0).signals;
    const auto size = [](double s, double rate_hz) {
        return RealFft::good_size(static_cast<std::size_t>(s * rate_hz));
    };
    RealFft lines(size(0.5, rates.mid.rate_hz())), envelope(size(0.5, rates.envelope[0].rate_hz()));
    RealFft segment(size(2.0, rates.mid.rate_hz())), segment_envelope(size(2.0, rates.envelope[0].rate_hz()));
    RealFft cycle(512), cycle_envelope(256);
    std::vector<float> x(8192, 0.5F);
    std::vector<std::complex<float>> bins(8192);
    const auto forward = [&](RealFft& f) { f.forward({x.data(), f.size()}, {bins.data(), f.bins()}); };
    const auto back = [&](RealFft& f) { f.inverse({bins.data(), f.bins()}, {x.data(), f.size()}); };
    for (int frame = 0; frame < static_cast<int>(seconds * 10.0); ++frame) {
        std::fill(x.begin(), x.end(), 0.5F);
        for (int i = 0; i < 7; ++i) forward(lines);
        for (int i = 0; i < 6; ++i) forward(envelope);
        if (frame % 5 != 0) continue;
        forward(segment), back(segment);
        for (int e = 0; e < 2; ++e) forward(segment_envelope), back(segment_envelope);
        for (int pass = 0; pass < 3; ++pass) {
            forward(cycle), back(cycle), back(cycle);
            for (int e = 0; e < 2; ++e) forward(cycle_envelope), back(cycle_envelope), back(cycle_envelope);
        }
    }
}

}  // namespace

int main(int argc, char** argv) {
    double seconds = 120.0;
    for (int i = 1; i + 1 < argc; i += 2)
        if (!std::strcmp(argv[i], "--seconds")) seconds = std::atof(argv[i + 1]);
    constexpr double kRate_hz = 48000.0;
    sim::SpeedPathSpec spec;
    spec.duration_s = seconds;
    spec.mean_rpm = 820.0;
    spec.hunting_rpm = 4.0;
    spec.wander_rpm = 1.5;
    const sim::SpeedPath path(spec);
    std::printf("%-34s %10s %10s %10s %10s\n", "48 kHz mono, 4 cylinders", "x realtime", "median %", "gross %",
                "figures %");
    double tracker_s = 0.0;
    for (const double snr_db : {20.0, 0.0, -6.0}) {
        sim::EngineSoundSpec sound;
        auto mix = std::make_unique<sim::Mix>(std::make_unique<sim::EngineSound>(sound, path));
        mix->add_at_snr(sim::make_source(sim::NoiseSpec{}, kRate_hz, 5), snr_db, sim::Mix::kHeardBand, 5.0);
        auto heard = sim::through_microphone(std::move(mix), {.kind = sim::MicrophoneKind::phone});
        const auto x = sim::render_seconds(*heard, seconds);
        const auto row = [&](const char* name, double took_s, const std::vector<double>& errors, double asked) {
            const auto gross = std::count_if(errors.begin(), errors.end(), [](double e) { return e > 0.03; });
            std::printf("%-22s %3.0f dB noise %9.0f %10.3f %10.2f %10.1f\n", name, snr_db, seconds / took_s,
                        100.0 * bench::quantile(errors, 0.5),
                        100.0 * static_cast<double>(gross) / static_cast<double>(errors.size()),
                        100.0 * static_cast<double>(errors.size()) / asked);
            char full[64];
            std::snprintf(full, sizeof full, "%s, %.0f dB", name, snr_db);
            bench::keep_row("speed", full,
                            {{"times_real_time", seconds / took_s},
                             {"median_percent", 100.0 * bench::quantile(errors, 0.5)},
                             {"gross_percent", 100.0 * static_cast<double>(gross) / static_cast<double>(errors.size())},
                             {"figures_percent", 100.0 * static_cast<double>(errors.size()) / asked}});
        };
        std::vector<RpmReading> readings;
        const double ours_s =
            timed([&] { readings = track_idle({.sample_rate_hz = kRate_hz, .engine = Engine{}}, x); });
        if (snr_db == 0.0) tracker_s = ours_s;
        std::vector<double> errors;
        for (const auto& r : readings)
            if (r.locked) errors.push_back(std::abs(r.rpm / path.rpm_at(r.time_s) - 1.0));
        row("idle tracker", ours_s, errors, static_cast<double>(readings.size()));

        constexpr uint_t kWindow = 16384, kHop = 4096;
        aubio_pitch_t* pitch = new_aubio_pitch("yinfft", kWindow, kHop, static_cast<uint_t>(kRate_hz));
        fvec_t* in = new_fvec(kHop);
        fvec_t* out = new_fvec(1);
        errors.clear();
        double asked = 0.0;
        const double theirs_s = timed([&] {
            for (std::size_t i = 0; i + kHop <= x.size(); i += kHop) {
                std::copy_n(x.data() + i, kHop, in->data);
                aubio_pitch_do(pitch, in, out);
                const double hz = static_cast<double>(fvec_get_sample(out, 0));
                const double t = (static_cast<double>(i + kHop) - kWindow / 2.0) / kRate_hz;
                if (t < 0.0) continue;
                asked += 1.0;
                if (hz > 0.0) errors.push_back(std::abs(hz * 30.0 / path.rpm_at(t) - 1.0));
            }
        });
        del_fvec(in), del_fvec(out), del_aubio_pitch(pitch);
        row("pitch tracker (yinfft)", theirs_s, errors, asked);
    }
    const double bare_s = timed([&] { bare_transforms(seconds); });
    std::printf("bare transforms of the same hops %8.0f\ntracker's cost over the bare transforms: %.1f times\n",
                seconds / bare_s, tracker_s / bare_s);
    bench::keep_row("speed", "bare transforms of the same hops",
                    {{"times_real_time", seconds / bare_s}, {"tracker_costs_times_as_much", tracker_s / bare_s}});
    return 0;
}
