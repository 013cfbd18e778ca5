// How long a large case takes: 200 visits, each with a nine-minute speed trace, three results, 36 marks and a recording
// of 256 MB, 51 GB in all. The sound files are sparse stand-ins: nothing measured here may read them, and what would
// would show at once. Figures wanted: every line under 0.2 s. "processor" is the time without the waiting for others on
// a busy machine. The comparison is of two spray tests of nine minutes, 12 spots, 36 bursts, two of which answer.
// usage: casebook_bench [FOLDER]   (default: a temporary folder, removed at the end)

#include "src/casebook/case_compare.hpp"
#include "src/casebook/case_result.hpp"
#include "src/casebook/case_text.hpp"
#include "src/casebook/casebook.hpp"
#include "src/casebook/check.hpp"
#include "src/casebook/database.hpp"
#include "src/casebook/heard_record.hpp"
#include "tests/bench/rows.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <functional>
#include <numbers>
#include <random>
#include <stdexcept>
#include <vector>

#include <fmt/format.h>

using namespace idlehark;

namespace {

namespace fs = std::filesystem;
constexpr int kVisits = 200;
constexpr int kReadings = 5400;
constexpr int kMarks = 36;
constexpr int kSpots = 12;
constexpr std::uintmax_t kSound_bytes = 256U << 20U;
constexpr int kRounds = 15;

template <class T>
T need(Result<T> result) {
    if (!result) throw std::runtime_error(result.error().what);
    return std::move(result.value());
}

double mark_s(int m) { return 30.0 + 14.0 * m; }

/// Hunting, noise, and an answer to two of twelve spots.
std::vector<RpmReading> trace(int visit) {
    std::vector<RpmReading> readings(kReadings);
    std::mt19937_64 random{static_cast<std::uint64_t>(visit)};
    std::normal_distribution<double> noise{0.0, 0.5};
    for (int i = 0; i < kReadings; ++i) {
        const double t_s = 0.1 * i;
        double rpm = 850.0 + 0.1 * visit + 4.0 * std::sin(2.0 * std::numbers::pi * 0.2 * t_s) + noise(random);
        for (int m = 0; m < kMarks; ++m)
            if (const double after_s = t_s - mark_s(m) - 0.7; m % kSpots < 2 && after_s > 0.0)
                rpm += 40.0 * (std::exp(-after_s / 2.5) - std::exp(-after_s / 0.5));
        readings[static_cast<std::size_t>(i)] = {t_s, rpm, rpm - 2.0, rpm + 2.0, i % 50 != 0};
    }
    return readings;
}

Json spray_figures(int visit) {
    Json figures{
        {"idle_rpm", 850.0 + visit}, {"hunting_rpm", 6.0}, {"spots", Json::array()}, {"cautions", Json::array()}};
    for (int s = 1; s <= 20; ++s)
        figures["spots"].push_back({{"spot", std::to_string(s)},
                                    {"name", "a joint somewhere"},
                                    {"bursts", 3},
                                    {"change_rpm", 1.5},
                                    {"low_rpm", -1.5},
                                    {"high_rpm", 4.5},
                                    {"p_value", 0.4},
                                    {"verdict", s == visit % 20 + 1 ? "leak" : "none seen"},
                                    {"delay_s", 0.6}});
    return figures;
}

/// What would have been heard of it.
HeardVisit heard_visit(int visit) {
    HeardVisit v;
    v.heard.sample_rate_hz = 48000.0;
    v.heard.length_s = 0.1 * kReadings;
    v.readings = trace(visit);
    std::vector<double> times_s;
    for (int m = 0; m < kMarks; ++m) {
        times_s.push_back(mark_s(m));
        v.bursts.push_back({mark_s(m), 0, mark_s(m) + 0.05, 1.0});
        v.burst_spots.push_back(std::to_string(1 + m % kSpots));
    }
    v.idle = measure_idle(v.readings, times_s);
    v.answering = {"1", "2"};
    v.half_orders = {0.03, 0.1, 0.4};
    v.hiss.bands.resize(5);
    for (auto& band : v.hiss.bands) band.whole.fill(1e-6);
    v.hiss.lines_db.assign(12, -30.0);
    return v;
}

void build(const std::string& place) {
    Engine engine;
    engine.name = "Marlow 1600 (invented)";
    auto book = need(Casebook::create(place, "Marlow", engine, {}));
    auto& db = book.tables();
    for (int v = 1; v <= kVisits; ++v) {
        const auto visit =
            need(book.add_visit({.date = fmt::format("20{:02}-{:02}-{:02}", 10 + v / 28, 1 + v % 12, 1 + v % 28),
                                 .title = fmt::format("visit {}", v)}));
        const auto file = fmt::format("bay-{}.flac", v);
        const auto path = fmt::format("{}/audio/{}", place, file);
        std::fclose(std::fopen(path.c_str(), "wb"));
        fs::resize_file(path, kSound_bytes);
        RowId recording = 0;
        {
            Transaction all{db};
            Statement{db,
                      "INSERT INTO recording (visit_id, kind, file, state, sample_rate_hz, channels, frames, bytes, "
                      "fingerprint, added_at) VALUES (?, 'bay', ?, 'whole', 48000, 2, 25920000, ?, 'stand-in', '')"}
                .with(visit)
                .with(file)
                .with(static_cast<RowId>(kSound_bytes))
                .run();
            recording = db.last_row();
            for (int m = 0; m < kMarks; ++m)
                Statement{db, "INSERT INTO mark (recording_id, time_s, spot, added_at) VALUES (?, ?, ?, '')"}
                    .with(recording)
                    .with(mark_s(m))
                    .with(std::to_string(1 + m % kSpots))
                    .run();
            all.commit();
        }
        CaseResult r;
        r.visit = visit;
        r.engine = 1;
        r.sources = {{recording, "", 0.0}};
        r.kind = "spray";
        r.figures = spray_figures(v);
        need(book.add_result(r, {}));
        r.kind = "idle";
        r.figures = {{"rpm", 850.0 + v}, {"spread_rpm", 12.0}};
        need(book.add_result(r, trace(v)));
        r.kind = "heard";
        const auto heard = heard_visit(v);
        r.figures = heard_json(heard);
        r.settings = {{"channel", 1}, {"marks", Json::array()}};
        for (int m = 0; m < kMarks; ++m) r.settings["marks"].push_back({mark_s(m), std::to_string(1 + m % kSpots)});
        need(book.add_result(r, heard.readings));
        r.settings = Json::object();
        r.kind = "balance";
        r.figures = {{"summary", "The cylinders sound even"}, {"half_order_share", 0.02}};
        need(book.add_result(r, {}));
    }
}

void time(const char* what, const std::function<void()>& work) {
    std::vector<double> seconds, processor_s;
    for (int i = 0; i < kRounds; ++i) {
        const auto begin = std::chrono::steady_clock::now();
        const auto ticks = std::clock();
        work();
        processor_s.push_back(static_cast<double>(std::clock() - ticks) / CLOCKS_PER_SEC);
        seconds.push_back(std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count());
    }
    std::sort(seconds.begin(), seconds.end());
    std::sort(processor_s.begin(), processor_s.end());
    fmt::print("{:<50} {:>7.1f} {:>7.1f} {:>9.1f}\n", what, 1e3 * seconds[kRounds / 2], 1e3 * seconds.back(),
               1e3 * processor_s[kRounds / 2]);
    bench::keep_row("casebook", what,
                    {{"median_ms", 1e3 * seconds[kRounds / 2]},
                     {"worst_ms", 1e3 * seconds.back()},
                     {"processor_ms", 1e3 * processor_s[kRounds / 2]}});
}

}  // namespace

int main(int argc, char** argv) {
    auto pattern = (fs::temp_directory_path() / "idlehark-bench-XXXXXX").string();
    if (argc < 2 && !mkdtemp(pattern.data())) return 1;
    const std::string folder = argc > 1 ? argv[1] : pattern;
    try {
        const auto place = folder + "/marlow";
        build(place);
        std::uintmax_t audio = 0;
        for (const auto& f : fs::directory_iterator{place + "/audio"}) audio += f.file_size();
        fmt::print("{} visits, {:.1f} GB of audio, tables of {:.1f} MB\n\n{:<50} {:>7} {:>7} {:>9}\n", kVisits,
                   static_cast<double>(audio) / 1e9, static_cast<double>(fs::file_size(place + "/case.sqlite")) / 1e6,
                   "milliseconds", "median", "worst", "processor");
        time("open to read", [&] { need(Casebook::open(place, Casebook::Access::read)); });
        time("open to write", [&] { need(Casebook::open(place, Casebook::Access::write)); });
        time("list the folder of cases", [&] { need(list_cases(folder)); });
        time("open and show everything", [&] {
            const auto book = need(Casebook::open(place, Casebook::Access::read));
            need(case_table(book, {}));
        });
        time("open and give everything as JSON", [&] {
            const auto book = need(Casebook::open(place, Casebook::Access::read));
            need(case_json(book, {}));
        });
        time("open and take two visits' figures and traces", [&] {
            const auto book = need(Casebook::open(place, Casebook::Access::read));
            for (const RowId visit : {RowId{17}, RowId{183}}) {
                need(book.latest_results(visit));
                for (const auto& r : need(book.recordings(visit))) need(book.trace_of_recording(r.id));
            }
        });
        time("open and compare two visits", [&] {
            const auto book = need(Casebook::open(place, Casebook::Access::read));
            const auto pair = need(visits_to_compare(book));
            const auto outcome = compare_visits(need(compare_request(book, pair->first, pair->second, false)), {});
            if (const auto* failure = std::get_if<VisitFailure>(&outcome))
                throw std::runtime_error(failure->error.what);
        });
    } catch (const std::exception& e) {
        fmt::print(stderr, "{}\n", e.what());
        return 1;
    }
    if (argc < 2) fs::remove_all(folder);
    return 0;
}
