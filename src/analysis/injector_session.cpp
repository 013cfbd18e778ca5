#include "src/analysis/injector_session.hpp"

#include "dsp/full_scale.hpp"
#include "dsp/injectors/crank_clock.hpp"
#include "dsp/injectors/set_speed.hpp"
#include "src/analysis/in_parallel.hpp"
#include "src/recording/sound_file.hpp"

#include <algorithm>
#include <cmath>
#include <optional>
#include <set>

#include <fmt/format.h>

namespace idlehark {

namespace {

constexpr double kShortest_s = 4.0;  // fewer clicks than this holds say nothing about missed ones
constexpr double kAdvised_s = 10.0;
constexpr double kLongest_s = 120.0;  // more is not listened to: the figures settle long before
constexpr double kClippedShareWorthSaying = 1e-4;

std::string_view word(Injection scheme) {
    switch (scheme) {
        case Injection::simultaneous:
            return "simultaneous";
        case Injection::grouped:
            return "grouped";
        case Injection::sequential:
            break;
    }
    return "sequential";
}

struct Heard {
    ProbeRecording probe;
    std::vector<std::string> notes;
};

/// Sound of the file, at most kLongest_s of it.
Result<Sound> start_of(const std::string& path, int channel, std::vector<std::string>& notes) {
    auto file = SoundFile::open(path, channel);
    if (!file) return file.error();
    Sound sound;
    sound.sample_rate_hz = file.value().info().sample_rate_hz;
    const auto most = static_cast<std::size_t>(kLongest_s * sound.sample_rate_hz);
    for (AudioView block = file.value().read(); !block.empty(); block = file.value().read()) {
        sound.samples.insert(
            sound.samples.end(), block.begin(),
            block.begin() + static_cast<std::ptrdiff_t>(std::min(block.size(), most - sound.samples.size())));
        if (sound.samples.size() == most) {
            notes.push_back(fmt::format("{}: only the first {:.0f} s are used", path, kLongest_s));
            break;
        }
    }
    if (file.value().warning()) notes.push_back(*file.value().warning());
    return sound;
}

std::variant<Heard, InjectorFailure> listen(const std::string& path, int channel, const Engine& engine, int cylinder) {
    Heard heard;
    const auto sound = start_of(path, channel, heard.notes);
    if (!sound) return InjectorFailure{sound.error()};
    const auto& x = sound.value().samples;
    const double length_s = static_cast<double>(x.size()) / sound.value().sample_rate_hz;
    if (x.empty())
        return InjectorFailure{{path + ": contains no sound", "The recording was not saved; record it again."}};
    std::size_t finite = 0;
    std::size_t clipped = 0;
    float peak = 0.F;
    for (const float v : x) {
        if (!std::isfinite(v)) continue;
        ++finite;
        peak = std::max(peak, std::fabs(v));
        clipped += std::fabs(v) >= kFullScale ? 1U : 0U;
    }
    if (finite == 0)
        return InjectorFailure{{path + ": no sample is a number", "The file is damaged; record it again."}, true};
    if (!(peak > 0.F))
        return InjectorFailure{{path + ": is silent", "Was the probe plugged in and not muted? Try --channel 2."},
                               true};
    if (length_s < kShortest_s)
        return InjectorFailure{{fmt::format("{}: {:.1f} s of sound is too short to count clicks", path, length_s),
                                "Record 10 to 15 seconds on each injector."},
                               true};
    if (length_s < kAdvised_s)
        heard.notes.push_back(
            fmt::format("{}: {:.1f} s only; with less than 10 s a few missed clicks may not show", path, length_s));
    if (finite < x.size())
        heard.notes.push_back(
            fmt::format("{}: {:.2f} % of the samples are no numbers (NaN or infinite); heard as silence", path,
                        100.0 * static_cast<double>(x.size() - finite) / static_cast<double>(x.size())));
    const double clipped_share = static_cast<double>(clipped) / static_cast<double>(x.size());
    if (clipped_share > kClippedShareWorthSaying)
        heard.notes.push_back(fmt::format("{}: {:.2f} % of the samples are clipped: levels are not to be trusted", path,
                                          100.0 * clipped_share));
    const auto readings = readings_of_rumble(x, sound.value().sample_rate_hz, engine);
    heard.probe = examine_probe(x, sound.value().sample_rate_hz, readings, engine, cylinder);
    return heard;
}

std::vector<std::string> cautions() {
    return {"keep hands, sleeves, leads and the probe clear of belts and fans; a fan may start by itself",
            "exhaust, coolant pipes and ignition parts burn or shock; do not reach over them with the engine running",
            "if fuel is smelt or seen near an injector, stop the engine and mend that first"};
}

/// "2, 4": the cylinders of which it holds; empty: of none.
template <class Holds>
std::string cylinders_where(const InjectorView& view, Holds holds) {
    std::string text;
    for (const auto& row : view.injectors)
        if (holds(row)) text += (text.empty() ? "" : ", ") + std::to_string(row.reading.cylinder);
    return text;
}

void add_set_notes(InjectorView& view, const InjectorSet& set, const Engine& engine) {
    if (set.scheme_disagrees)
        view.notes.push_back(
            fmt::format("the set clicks once per {}: looks {}, the engine file says {}; missed clicks are counted at "
                        "the rate heard",
                        set.each_turn ? "crank turn" : "cycle",
                        set.each_turn ? "simultaneous" : "sequential or grouped", word(engine.injection)));
    if (set.openings_split)
        view.notes.emplace_back(
            "the set has two opening times, with as many injectors for each: sound cannot tell which is right, so all "
            "are said to differ");
    const auto clicks = [](const auto& row) { return row.reading.verdict != InjectorVerdict::silent; };
    if (const auto those = cylinders_where(
            view, [&](const auto& row) { return clicks(row) && std::isnan(row.reading.open_close_ms); });
        !those.empty())
        view.notes.push_back(
            fmt::format("no pair of opening and closing is heard of {}: how long it opens is not compared", those));
    if (const auto those =
            cylinders_where(view, [&](const auto& row) { return clicks(row) && std::isnan(row.reading.jitter_us); });
        !those.empty())
        view.notes.push_back(fmt::format("no jitter is told of {}: noise or the crank's own wander hides it", those));
    if (engine.injection == Injection::grouped && std::isfinite(set.rpm))
        view.notes.push_back(fmt::format("grouped: clicks are expected once per {}, as most of the set has it",
                                         set.each_turn ? "crank turn" : "cycle"));
    if (view.injectors.size() == 1)
        view.notes.emplace_back(
            "one recording only: level and opening time have nothing to be compared with, and a loud neighbour may be "
            "taken for this injector; record the others too");
    if (set.each_turn && engine.cylinders > 1)
        view.notes.emplace_back(
            "all open at the same instant: only level and sound tell this injector from its neighbours");
    if (const auto those =
            cylinders_where(view, [](const auto& row) { return row.probe.repeats && !row.probe.firing_heard; });
        !those.empty())
        view.notes.push_back(fmt::format(
            "no firing is followed in the recording of {}: the speed is taken from the clicks, within the idle range",
            those));
    view.notes.emplace_back(
        "open-close is the time between the two clicks; the electrical pulse differs from it by closing lag minus "
        "opening "
        "lag");
}

}  // namespace

std::variant<InjectorView, InjectorFailure> judge_injectors(const InjectorRequest& request,
                                                            const std::function<void(std::size_t done)>& progress) {
    std::set<int> seen;
    for (const auto& [cylinder, path] : request.recordings) {
        if (cylinder < 1 || cylinder > request.engine.cylinders)
            return InjectorFailure{
                {fmt::format("{}={}: cylinder {} is not in 1..{}", cylinder, path, cylinder, request.engine.cylinders),
                 ""}};
        if (!seen.insert(cylinder).second)
            return InjectorFailure{{fmt::format("cylinder {} is given twice", cylinder), "One recording an injector."}};
    }
    InjectorView view;
    view.engine = request.engine.name;
    view.scheme = word(request.engine.injection);
    view.cycle_deg = cycle_deg(request.engine);
    view.cautions = cautions();
    auto outcomes = in_parallel(
        request.recordings.size(),
        [&](std::size_t i) {
            const auto& [cylinder, path] = request.recordings[i];
            return listen(path, request.channel, request.engine, cylinder);
        },
        [](const auto& outcome) { return std::holds_alternative<InjectorFailure>(outcome); }, progress);
    std::vector<ProbedInjector> probed;
    for (auto& outcome : outcomes) {
        if (auto* failure = std::get_if<InjectorFailure>(&*outcome)) return std::move(*failure);
        auto& heard = std::get<Heard>(*outcome);
        view.notes.insert(view.notes.end(), heard.notes.begin(), heard.notes.end());
        probed.push_back({request.recordings[probed.size()].first, std::move(heard.probe)});
    }
    const auto odd = other_speeds(probed, request.engine);
    for (const auto i : odd.which) {
        auto again = listen(request.recordings[i].second, request.channel, odd.engine, probed[i].cylinder);
        if (auto* heard = std::get_if<Heard>(&again); heard != nullptr && as_clear(heard->probe, probed[i].recording))
            probed[i].recording = std::move(heard->probe);
    }
    const auto set = compare_injectors(probed, request.engine);
    view.rpm = set.rpm;
    for (std::size_t i = 0; i < probed.size(); ++i)
        view.injectors.push_back({set.injectors[i], request.recordings[i].second, std::move(probed[i].recording)});
    const bool none = std::all_of(set.injectors.begin(), set.injectors.end(),
                                  [](const InjectorReading& r) { return r.verdict == InjectorVerdict::silent; });
    if (none && !std::isfinite(set.rpm))
        return InjectorFailure{{"neither clicks nor firing are heard in any of the recordings",
                                "Put the probe's tip on the injector's body and check idle range and --channel."},
                               true};
    if (set.no_part)
        return InjectorFailure{
            {"what repeats in " + std::string(probed.size() == 1 ? "the recording" : "these recordings") +
                 " is no injector: its clicks ring alike and come on time, and these do not",
             "Put the probe's tip on the injector's body; a microphone in the open does not tell injectors apart."},
            true};
    add_set_notes(view, set, request.engine);
    return view;
}

}  // namespace idlehark
