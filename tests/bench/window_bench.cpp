// How the window draws: first frame, frames a second while it listens, and what an idle screen costs.
// usage: window_bench [WIDTH HEIGHT SCALE SECONDS]; needs a display (xvfb-run does: software rendering).
#include "gui/shell/window.hpp"
#include "tests/bench/rows.hpp"

#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <memory>
#include <vector>

#include <sys/resource.h>

namespace gui = idlehark::gui;

namespace {

double cpu_s() {
    rusage used{};
    getrusage(RUSAGE_SELF, &used);
    const auto seconds = [](const timeval& t) {
        return static_cast<double>(t.tv_sec) + 1e-6 * static_cast<double>(t.tv_usec);
    };
    return seconds(used.ru_utime) + seconds(used.ru_stime);
}

/// A spray test under way on twenty spots, a minute of trace behind it.
gui::ViewState busy_state(double now_s) {
    gui::ViewState v;
    v.engine.cylinders = 6;
    v.sound.mode = gui::Mode::practice;
    v.sound.running = v.sound.locked = v.sound.recording = true;
    v.sound.now_s = v.sound.recorded_s = now_s;
    v.sound.rpm = 800.0 + 10.0 * std::sin(now_s);
    v.sound.rpm_low = v.sound.rpm - 2.0;
    v.sound.rpm_high = v.sound.rpm + 2.0;
    v.sound.peak_dbfs = -20.0 + 5.0 * std::sin(3.0 * now_s);
    v.gate.open = v.gate.alternatives_seen = true;
    v.spray.phase = gui::SprayPhase::answering;
    v.spray.spot = "7";
    for (int i = 0; i < 20; ++i) {
        gui::SpotView s;
        s.place.spot = std::to_string(i + 1);
        s.place.name = "intake gasket, cylinder " + std::to_string(i + 1);
        s.place.x_mm = 80.0 + 90.0 * (i % 7);
        s.place.y_mm = 120.0 + 100.0 * (i / 7);
        s.bursts = i % 4;
        s.change_rpm = 3.0 * i - 20.0;
        s.low_rpm = s.change_rpm - 8.0;
        s.high_rpm = s.change_rpm + 8.0;
        s.verdict = static_cast<idlehark::SprayVerdict>(i % 4);
        v.map.spots.push_back(s.place);
        v.spots.push_back(std::move(s));
    }
    auto trace = std::make_shared<std::vector<gui::TracePoint>>();
    for (double t = std::max(0.0, now_s - 60.0); t < now_s; t += 0.1) {
        const double rpm = 800.0 + 10.0 * std::sin(t) + 4.0 * std::sin(7.3 * t);
        trace->push_back({t, rpm, rpm - 2.0, rpm + 2.0});
    }
    v.trace = trace;
    for (double t = 10.0; t < now_s; t += 14.0) v.bursts.push_back({t, 1.0, "7"});
    return v;
}

}  // namespace

int main(int argc, char** argv) {
    const auto number = [&](int i, double usual) { return argc > i ? std::atof(argv[i]) : usual; };
    gui::WindowOptions options;
    options.width = static_cast<unsigned>(number(1, 1280));
    options.height = static_cast<unsigned>(number(2, 800));
    options.scale = static_cast<float>(number(3, 1.0));
    options.close_after_s = number(4, 10.0);
    options.stage = gui::Stage::spray;
    gui::FrameReport report;
    options.report_frames = [&](const gui::FrameReport& r) { report = r; };

    const auto begin = std::chrono::steady_clock::now();
    std::uint64_t revision = 0;
    const auto listening = [&] {
        // A desk publishes every 25 ms.
        const double t = std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
        const auto now = static_cast<std::uint64_t>(t * 40.0);
        static std::shared_ptr<const gui::ViewState> shown;
        if (!shown || now != revision) {
            revision = now;
            auto v = busy_state(60.0 + t);
            v.revision = now + 1;
            shown = std::make_shared<const gui::ViewState>(std::move(v));
        }
        return shown;
    };
    for (const bool busy : {true, false}) {
        const auto still = std::make_shared<const gui::ViewState>(busy_state(90.0));
        const double before_s = cpu_s();
        gui::Wires wires{.view = [&]() -> std::shared_ptr<const gui::ViewState> { return busy ? listening() : still; },
                         .send = [](const gui::Command&) {}};
        if (const auto fault = gui::run_window(wires, options)) {
            std::fprintf(stderr, "%s\n", fault->what.c_str());
            return 2;
        }
        const double used_s = cpu_s() - before_s;
        std::printf(
            "%-9s first frame %4.0f ms   %5.1f frames/s   median %5.1f ms   99 %% %5.1f ms   longest %5.1f ms   "
            "%5.1f %% of a core\n",
            busy ? "listening" : "idle", report.first_ms, static_cast<double>(report.frames) / report.open_s,
            report.median_ms, report.late_ms, report.longest_ms, 100.0 * used_s / report.open_s);
        idlehark::bench::keep_row("window", busy ? "listening" : "idle",
                                  {{"first_frame_ms", report.first_ms},
                                   {"frames_per_s", static_cast<double>(report.frames) / report.open_s},
                                   {"median_ms", report.median_ms},
                                   {"p99_ms", report.late_ms},
                                   {"longest_ms", report.longest_ms},
                                   {"load_percent_of_a_core", 100.0 * used_s / report.open_s}});
    }
    return 0;
}
