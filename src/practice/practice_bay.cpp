#include "src/practice/practice_bay.hpp"

#include "dsp/sim/random.hpp"
#include "src/files/engine_file.hpp"
#include "src/files/json_text.hpp"
#include "src/files/map_file.hpp"
#include "src/files/marks_file.hpp"
#include "src/files/text_file.hpp"
#include "src/recording/sound_file.hpp"

#include <algorithm>
#include <cmath>
#include <filesystem>

#include <fmt/format.h>

namespace idlehark {

namespace {

/// The simulator's words for a joint, in the map's.
SpotKind kind_of(const std::string& simulated) {
    const auto it = std::find(kSpotKindWords.begin(), kSpotKindWords.end(), simulated);
    if (it != kSpotKindWords.end()) return static_cast<SpotKind>(it - kSpotKindWords.begin());
    return simulated == "shaft" || simulated == "throttle body" ? SpotKind::throttle : SpotKind::other;
}

MarksFile marks_of(const sim::Session& session) {
    MarksFile marks;
    for (const auto& m : session.marks())
        marks.marks.push_back({.time_s = m.time_s, .spot = session.spec().spots[m.spot].id, .extra = {}, .line = 0});
    return marks;
}

std::string truth_of(const sim::Session& session, std::uint64_t seed) {
    const auto& spec = session.spec();
    Json truth{
        {"practice", true}, {"seed", seed}, {"mean_rpm", std::round(spec.idle.mean_rpm)}, {"leaks", Json::array()}};
    for (std::size_t i = 0; i < spec.spots.size(); ++i)
        if (spec.leak_rpm[i] != 0.0)
            truth["leaks"].push_back({{"spot", spec.spots[i].id},
                                      {"name", spec.spots[i].name},
                                      {"change_rpm", std::round(spec.leak_rpm[i] * 10.0) / 10.0}});
    return truth.dump(2) + "\n";
}

}  // namespace

BayMap practice_map(const sim::SessionSpec& spec) {
    BayMap map{.name = spec.engine.engine.name + ", practice bay", .picture = {}, .spots = {}};
    for (const auto& s : spec.spots)
        map.spots.push_back({.spot = s.id,
                             .name = s.name,
                             .kind = kind_of(s.kind),
                             .x_mm = s.x_mm,
                             .y_mm = s.y_mm,
                             .cylinder = s.cylinder});
    return map;
}

Result<sim::Session> practice_session(const PracticeRequest& request) {
    const auto leaks = sim::draw_leaks(request.seed);
    auto spec = request.disturbed ? sim::disturbed_session(request.seed, leaks, request.spots, request.sample_rate_hz)
                                  : sim::plain_session(request.seed, leaks, request.spots, request.sample_rate_hz);
    if (!request.engine_name.empty()) spec.engine.engine.name = request.engine_name;
    if (request.day != 1) {
        spec.seed = sim::sub_seed(request.seed, fmt::format("day {}", request.day));
        spec.idle.seed = sim::sub_seed(spec.seed, "idle");
    }
    const auto place_of = [&](const std::string& id) {
        return std::find_if(spec.spots.begin(), spec.spots.end(), [&](const auto& s) { return s.id == id; }) -
               spec.spots.begin();
    };
    for (const auto* list : {&request.mended, &request.only})
        for (const auto& id : *list)
            if (place_of(id) == std::ssize(spec.spots))
                return Error{fmt::format("spot \"{}\" is not in this bay, which has 1 to {}", id, spec.spots.size()),
                             ""};
    for (const auto& id : request.mended) spec.leak_rpm[static_cast<std::size_t>(place_of(id))] = 0.0;
    if (!request.only.empty()) {
        std::vector<sim::BaySpot> spots;
        std::vector<double> leak_rpm;
        for (std::size_t i = 0; i < spec.spots.size(); ++i)
            if (std::find(request.only.begin(), request.only.end(), spec.spots[i].id) != request.only.end()) {
                spots.push_back(spec.spots[i]);
                leak_rpm.push_back(spec.leak_rpm[i]);
            }
        spec.spots = std::move(spots);
        spec.leak_rpm = std::move(leak_rpm);
    }
    return sim::Session{spec};
}

Result<Done> check_free(const std::string& folder, const std::vector<std::string>& names) {
    for (const auto& name : names) {
        const auto path = (std::filesystem::path{folder} / name).string();
        if (is_there(path)) return Error{path + ": exists already", "Nothing is overwritten: choose another folder."};
    }
    return Done{};
}

Result<Done> write_practice(const PracticeRequest& request,
                            const std::function<void(std::uint64_t, std::uint64_t)>& progress) {
    const auto made = practice_session(request);
    if (!made) return made.error();
    const auto& session = made.value();
    const std::filesystem::path folder{request.folder};
    if (const auto free =
            check_free(request.folder, {"engine.json", "map.json", "marks.csv", "truth.json", request.sound_name});
        !free)
        return free.error();
    std::error_code code;
    std::filesystem::create_directories(folder, code);
    if (code) return Error{fmt::format("{}: cannot be made ({})", request.folder, code.message()), ""};
    const auto in_folder = [&](const std::string& name) { return (folder / name).string(); };

    for (const auto& written : {write_engine(in_folder("engine.json"), session.spec().engine.engine),
                                write_map(in_folder("map.json"), practice_map(session.spec())),
                                write_marks(in_folder("marks.csv"), marks_of(session)),
                                write_text(in_folder("truth.json"), truth_of(session, request.seed))})
        if (!written) return written.error();

    auto writer = SoundWriter::open(in_folder(request.sound_name), request.sample_rate_hz);
    if (!writer) return writer.error();
    const auto sound = session.sound();
    const auto total = static_cast<std::uint64_t>(session.duration_s() * request.sample_rate_hz);
    std::vector<float> block(65536);
    for (std::uint64_t done = 0; done < total;) {
        const auto part = std::span{block}.first(std::min<std::uint64_t>(block.size(), total - done));
        sound->render(part);
        if (const auto written = writer.value().write(part); !written) return written.error();
        done += part.size();
        progress(done, total);
    }
    return Done{};
}

}  // namespace idlehark
