// How the window draws: first frame, frames a second while it listens, what an idle screen costs, and how long the loop
// is away from the events while somebody leafs through the pages and changes the size of the letters (by xdotool).
// usage: window_bench [WIDTH HEIGHT SCALE SECONDS]; needs a display (xvfb-run does: software rendering).
#include "gui/shell/window.hpp"
#include "tests/bench/rows.hpp"

#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <memory>
#include <string>
#include <thread>
#include <vector>

#include <SFML/Graphics/Image.hpp>

namespace gui = idlehark::gui;

namespace {

/// A spray test under way on twenty spots, a minute of trace behind it.
gui::ViewState busy_state(double now_s) {
    gui::ViewState v;
    v.engine.cylinders = 6;
    v.engine.firing_order = {1, 5, 3, 6, 2, 4};
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
        const int row = i / 7;
        s.place.y_mm = 120.0 + 100.0 * row;
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

namespace {

enum class Scene { listening, idle, leafing, sizing };

const char* name_of(Scene scene) {
    switch (scene) {
        case Scene::listening:
            return "listening";
        case Scene::idle:
            return "idle";
        case Scene::leafing:
            return "leafing";
        case Scene::sizing:
            break;
    }
    return "sizing";
}

/// A photo such as a telephone takes, on a page of its own.
std::string photo() {
    const auto path = (std::filesystem::temp_directory_path() / "idlehark-window-bench.jpg").string();
    sf::Image image;
    image.create(4000, 3000, {120, 130, 110});
    for (unsigned y = 0; y < 3000; y += 3)
        for (unsigned x = 0; x < 4000; x += 2)
            image.setPixel(x, y, {static_cast<sf::Uint8>(x * y), static_cast<sf::Uint8>(x), static_cast<sf::Uint8>(y)});
    return image.saveToFile(path) ? path : std::string{};
}

void print(const char* what, const gui::Spread& wall, const gui::Spread& cpu) {
    std::printf("          %-10s  wall %6.1f %6.1f %6.1f %6.1f   own work %6.1f %6.1f %6.1f %6.1f\n", what, wall.median,
                wall.p95, wall.p99, wall.worst, cpu.median, cpu.p95, cpu.p99, cpu.worst);
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
    const auto picture = photo();

    std::printf("milliseconds: half, 95 %%, 99 %% are shorter, worst\n");
    for (const auto scene : {Scene::listening, Scene::idle, Scene::leafing, Scene::sizing}) {
        const auto begin = std::chrono::steady_clock::now();
        std::shared_ptr<const gui::ViewState> shown;
        const auto still = std::make_shared<const gui::ViewState>(busy_state(90.0));
        // A desk publishes every 25 ms.
        const auto listening = [&] {
            const double t = std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
            const auto now = static_cast<std::uint64_t>(t * 40.0) + 1;
            if (shown && now == shown->revision) return shown;
            auto v = busy_state(60.0 + t);
            v.revision = now;
            if (scene == Scene::leafing) {  // two pages a second, and the photo comes and goes
                v.stage_edition = now / 20;
                v.stage = static_cast<gui::Stage>(v.stage_edition % gui::kStages);
                if (v.stage_edition / gui::kStages % 2 == 1) {
                    v.map.picture = picture;
                    v.map.picture_width_mm = 800.0;
                }
            }
            shown = std::make_shared<const gui::ViewState>(std::move(v));
            return shown;
        };
        const gui::Wires wires{.view = [&]() -> std::shared_ptr<const gui::ViewState> {
                                   return scene == Scene::idle ? still : listening();
                               },
                               .send = [](const gui::Command&) {}};
        std::jthread hands;
        if (scene == Scene::sizing)
            hands = std::jthread{[](const std::stop_token& stop) {
                for (int n = 0; !stop.stop_requested(); ++n) {
                    std::this_thread::sleep_for(std::chrono::milliseconds{700});
                    if (std::system(n % 6 < 3 ? "xdotool key ctrl+plus" : "xdotool key ctrl+minus") != 0) return;
                }
            }};
        if (const auto fault = gui::run_window(wires, options)) {
            std::fprintf(stderr, "%s\n", fault->what.c_str());
            return 2;
        }
        const double load_percent = 100.0 * report.worked_s / report.open_s;
        const double frames_per_s = static_cast<double>(report.frames) / report.open_s;
        std::printf("%-9s first frame %4.0f ms   %5.1f frames/s   %5.1f %% of a core\n", name_of(scene),
                    report.first_ms, frames_per_s, load_percent);
        print("a frame", report.frame_wall, report.frame_cpu);
        print("no events", report.turn_wall, report.turn_cpu);
        idlehark::bench::keep_row("window", name_of(scene),
                                  {{"first_frame_ms", report.first_ms},
                                   {"frames_per_s", frames_per_s},
                                   {"median_ms", report.frame_wall.median},
                                   {"p95_ms", report.frame_wall.p95},
                                   {"p99_ms", report.frame_wall.p99},
                                   {"longest_ms", report.frame_wall.worst},
                                   {"longest_own_work_ms", report.frame_cpu.worst},
                                   {"away_p99_ms", report.turn_wall.p99},
                                   {"away_longest_ms", report.turn_wall.worst},
                                   {"away_longest_own_work_ms", report.turn_cpu.worst},
                                   {"load_percent_of_a_core", load_percent}});
    }
    std::error_code code;
    std::filesystem::remove(picture, code);
    return 0;
}
