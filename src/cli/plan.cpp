#include "src/analysis/between_gaps.hpp"
#include "src/analysis/listen.hpp"
#include "src/analysis/marks_once.hpp"
#include "src/casebook/casebook.hpp"
#include "src/casebook/visit_parts.hpp"
#include "src/cli/messages.hpp"
#include "src/cli/plan_options.hpp"
#include "src/files/csv.hpp"
#include "src/files/json_text.hpp"
#include "src/files/marks_file.hpp"
#include "src/visit/caution_gate.hpp"
#include "src/visit/guide_view.hpp"
#include "src/visit/visit_marks.hpp"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <memory>
#include <stdexcept>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace idlehark {

namespace {

struct PlanCommand {
    const CLI::App* given = nullptr;  ///< as the command line has it
    SoundOptions sound;
    EngineOptions engine;
    PlanOptions plan;
    std::string marks_path;
    std::vector<std::string> without;
    std::string format = "text";
    bool cautions_read = false;
};

Json json_of(const plan::PlanStep& step, const BayMap& map) {
    Json json;
    json["outcome"] = step.outcome == plan::PlanStep::Outcome::step      ? "step"
                      : step.outcome == plan::PlanStep::Outcome::decided ? "decided"
                                                                         : "out of limits";
    json["spots"] = Json::array();
    for (const std::size_t s : step.spots) json["spots"].push_back(map.spots[s].spot);
    json["sham"] = step.sham;
    json["why"] = step.why;
    json["would_change"] = step.would_change;
    json["at_most_more"] = step.at_most_more;
    json["smallest_provable_rpm"] = json_number(step.smallest_provable_rpm);
    json["all"] = Json::array();
    for (std::size_t s = 0; s < step.all.size(); ++s) {
        const auto& p = step.all[s];
        json["all"].push_back({{"spot", map.spots[s].spot},
                               {"standing", word(p.decision)},
                               {"why", p.why},
                               {"bursts", p.bursts},
                               {"passes", p.passes},
                               {"leaks", p.belief.leaks > 0.0 ? Json(p.belief.leaks) : Json(nullptr)},
                               {"matters", p.belief.leaks > 0.0 ? Json(p.belief.matters) : Json(nullptr)},
                               {"change_rpm", json_number(p.change_rpm)},
                               {"low_rpm", json_number(p.low_rpm)},
                               {"high_rpm", json_number(p.high_rpm)},
                               {"p_value", p.p_value}});
    }
    json["notes"] = step.notes;
    return json;
}

/// What is known of a visit: from a recording and its marks, or from a case.
struct Known {
    VisitPlanSettings settings;
    VisitRecord record;
    std::vector<RpmReading> readings;
    bool guided = false;  ///< the record keeps its own decisions
};

struct Heard {
    std::vector<RpmReading> readings;
    std::vector<HissBurst> hisses;
};

/// Nothing locked is an answer too: `no_lock`.
Result<Heard> hear(const ListenRequest& request, std::optional<Error>& no_lock) {
    Heard out;
    std::vector<GapHissFinder> finders;  // one a part
    Progress progress{"listening"};
    const auto heard = listen_through(
        request,
        {.readings =
             [&](std::span<const RpmReading> r) { out.readings.insert(out.readings.end(), r.begin(), r.end()); },
         .start = [&](double rate_hz) { finders.emplace_back(rate_hz); },
         .sound = [&](AudioView x) { finders.back().process(x); },
         .progress = [&](std::uint64_t done, std::uint64_t total) { progress.at(done, total); },
         .gap = [&] { finders.back().gap(); }});
    progress.end();
    if (!heard) return heard.error();
    for (const auto& text : heard.value().warnings) warn(text);
    no_lock = why_no_lock(heard.value(), request);
    for (std::size_t k = 0; k < finders.size(); ++k) {
        finders[k].finish();
        for (auto hiss : finders[k].bursts()) {
            hiss.time_s += heard.value().parts[k].offset_s;
            out.hisses.push_back(hiss);
        }
    }
    return out;
}

Result<VisitRecord> record_of(std::span<const Mark> marks, const Heard& heard, const BayMap& map,
                              const std::string& marks_file) {
    std::vector<std::string> said;
    const auto once = marks_once(marks, marks_file, said);
    for (const auto& text : said) warn(text);
    return visit_from_marks(once, heard.hisses, map, marks_file);
}

Result<Known> known_from_files(const PlanCommand& o, std::optional<Error>& no_lock) {
    const auto engine = resolve(o.engine);
    if (!engine) return engine.error();
    auto settings = resolve(o.plan, engine.value());
    if (!settings) return settings.error();
    std::vector<Mark> marks;
    if (!o.marks_path.empty()) {
        auto file = read_marks(o.marks_path);
        if (!file) return file.error();
        marks = std::move(file.value().marks);
    }
    auto heard = hear({.path = o.sound.path, .channel = o.sound.channel, .engine = engine.value()}, no_lock);
    if (!heard) return heard.error();
    auto record = record_of(marks, heard.value(), settings.value().map, o.marks_path);
    if (!record) return record.error();
    return Known{std::move(settings.value()), std::move(record.value()), std::move(heard.value().readings), false};
}

/// The case's latest visit with recordings of the bay: its guided test if it keeps one, else its marks; recordings one
/// after the other.
Result<Known> known_from_case(const PlanCommand& o, std::optional<Error>& no_lock) {
    if (const auto own = none_given(
            *o.given, {"--engine", "--cylinders", "--strokes", "--idle-rpm", "--map", "--channel", "--marks"},
            "a case has its own");
        !own)
        return own.error();
    auto opened = Casebook::open(o.sound.path, Casebook::Access::read);
    if (!opened) return opened.error();
    const auto& book = opened.value();
    const auto engine = book.engine();
    if (!engine) return engine.error();
    const auto map = book.map();
    if (!map) return map.error();
    if (!map.value())
        return Error{o.sound.path + ": the case has no map of spots",
                     fmt::format("`idlehark case add {} map FILE` adds one.", o.sound.path)};
    auto settings = resolve(o.plan, map.value()->map, engine.value().engine);
    if (!settings) return settings.error();
    Known known{std::move(settings.value()), {}, {}, false};
    const auto visits = book.visits();
    if (!visits) return visits.error();
    for (auto visit = visits.value().rbegin(); visit != visits.value().rend(); ++visit) {
        auto found = guided_parts(book, visit->id);
        if (!found) return found.error();
        auto& parts = found.value();
        known.guided = !parts.empty();
        if (!known.guided) {
            const auto recordings = book.recordings(visit->id);
            if (!recordings) return recordings.error();
            double offset_s = 0.0;
            for (const auto& r : recordings.value()) {
                if (r.kind != RecordingKind::bay) continue;
                parts.push_back({r, offset_s});
                offset_s += r.length_s() + kBetweenRecordings_s;
            }
        }
        if (parts.empty()) continue;
        const auto request = listen_request(book, parts, engine.value().engine);
        if (!request) return request.error();
        auto heard = hear(request.value(), no_lock);
        if (!heard) return heard.error();
        known.readings = std::move(heard.value().readings);
        if (known.guided) {
            for (auto& r : known.readings) r.time_s += parts.front().offset_s;
            known.record = *book.guided(visit->id).value();
        } else {
            const auto marks = marks_of_parts(book, parts);
            if (!marks) return marks.error();
            auto record = record_of(marks.value(), heard.value(), known.settings.map, parts.front().recording.file);
            if (!record) return record.error();
            known.record = std::move(record.value());
        }
        return known;
    }
    return Error{o.sound.path + ": no visit has a recording of the bay", "`idlehark case add` takes one in."};
}

int plan_command(const PlanCommand& o) {
    std::error_code code;
    std::optional<Error> no_lock;
    auto read =
        std::filesystem::is_directory(o.sound.path, code) ? known_from_case(o, no_lock) : known_from_files(o, no_lock);
    if (!read) return refuse(read.error());
    if (no_lock) return no_answer(*no_lock);
    auto& known = read.value();
    const auto& map = known.settings.map;
    VisitConfig limits;
    for (const auto& s : map.spots)
        if (std::find(o.without.begin(), o.without.end(), s.spot) == o.without.end()) limits.spots.push_back(s.spot);
    for (const auto& spot : o.without)
        if (!map.find(spot)) return refuse({fmt::format("--without: spot \"{}\" is not on the map", spot), ""});
    plan::PlanStep step;
    try {
        step = known.guided ? plan_visit(known.record, limits, known.readings, known.settings)
                            : replay_plan(known.record, limits, known.readings, known.settings);
    } catch (const std::invalid_argument& wrong) {
        return refuse({wrong.what(), ""});
    }

    const bool spray = step.outcome == plan::PlanStep::Outcome::step && !step.sham;
    if (spray && !o.cautions_read) {
        // No way to a spray prompt but through the cautions: they are shown, and the step only on the word.
        std::string text{caution_precedence()};
        text += "\nWays without flammable spray come first:\n";
        for (const auto& way : spray_alternatives()) text += fmt::format("  {}\n", way);
        text += "Before any spray, each of these must be a yes:\n";
        for (const auto& point : caution_points()) text += fmt::format("  {}\n", point.question);
        fmt::print(stderr, "{}", text);
        return refuse({"the next step is a spray, and the cautions have not been answered",
                       "If every answer is yes, here and now: --cautions-answered."});
    }
    if (o.format == "json") {
        fmt::print("{}\n", json_of(step, map).dump(2));
        return close_output(kExitDone);
    }
    if (std::isfinite(step.smallest_provable_rpm))
        fmt::print("Smallest provable change, by three bursts on a spot: {:.0f} rpm\n", step.smallest_provable_rpm);
    for (const auto& line : spot_table(step, map)) fmt::print("{}\n", line);
    for (const auto& s : step.notes) fmt::print("note: {}\n", s);
    const auto ids = visit_plan(step, map).spots;
    if (step.outcome == plan::PlanStep::Outcome::step) {
        fmt::print("\nNext: {} {}{}\n  Why: {}\n  {}\n  At most {} bursts more.\n",
                   step.sham        ? "aim without spraying at spot"
                   : ids.size() > 1 ? "one pass over spots"
                                    : "a short burst on spot",
                   fmt::join(ids, ", "),
                   spray && ids.size() > 1 ? fmt::format(" (mark it as {})", fmt::join(ids, "+")) : "", step.why,
                   step.would_change, step.at_most_more);
    } else {
        fmt::print("\nPut the can away: {}\n", step.why);
    }
    return close_output(kExitDone);
}

}  // namespace

void add_plan_options(CLI::App& command, PlanOptions& options) {
    command.add_option("--map", options.map_path, "Map of the spots (JSON)");
    std::string kinds;
    for (std::size_t k = 0; k < kSpotKindWords.size(); ++k)
        kinds += fmt::format("{}{}={:g}", k ? ", " : "", kSpotKindWords[k], usual_kind_priors()[k]);
    command.add_option("--prior", options.priors, "How often joints of a kind leak, as KIND=CHANCE; default: " + kinds);
    command.add_option("--stood-out", options.suspects, "Spots that stood out in a hiss survey: suspected first")
        ->delimiter(',');
    command.add_option("--matters-rpm", options.matters_rpm, "The change that is to be excluded, 1 to 200")
        ->check(CLI::Range(1.0, 200.0))
        ->capture_default_str();
    command.add_flag("--singly", options.singly, "Never mist several spots in one pass");
}

Result<VisitPlanSettings> resolve(const PlanOptions& options, const Engine& engine) {
    if (options.map_path.empty())
        return Error{"which spots? No map is given", "Give --map FILE; README.md has its format."};
    auto map = read_map(options.map_path, engine.cylinders);
    if (!map) return map.error();
    for (const auto& text : map.value().warnings) warn(text);
    return resolve(options, map.value().map, engine);
}

Result<VisitPlanSettings> resolve(const PlanOptions& options, const BayMap& map, const Engine& engine) {
    VisitPlanSettings settings;
    settings.map = map;
    settings.idle_control = engine.idle_control;
    settings.matters_rpm = options.matters_rpm;
    settings.passes = !options.singly;
    for (const auto& text : options.priors) {
        const auto equals = text.find('=');
        const auto kind = std::find(kSpotKindWords.begin(), kSpotKindWords.end(), text.substr(0, equals));
        const double chance = equals == std::string::npos ? 0.0 : parse_number(text.substr(equals + 1)).value_or(0.0);
        if (kind == kSpotKindWords.end() || !(chance >= kLeastPrior && chance <= kMostPrior))
            return Error{fmt::format("--prior: \"{}\" is not KIND=CHANCE with a chance of {:g} to {:g}", text,
                                     kLeastPrior, kMostPrior),
                         fmt::format("Kinds: {}.", fmt::join(kSpotKindWords, ", "))};
        settings.kind_priors[static_cast<std::size_t>(kind - kSpotKindWords.begin())] = chance;
    }
    for (const auto& spot : options.suspects) {
        if (!settings.map.find(spot)) return Error{fmt::format("--stood-out: spot \"{}\" is not on the map", spot), ""};
        settings.spot_odds[spot] = kStandsOutOdds;
    }
    return settings;
}

void add_plan(CLI::App& app, Command& chosen) {
    auto options = std::make_shared<PlanCommand>();
    auto* command = app.add_subcommand("plan", "What to spray next, and why; or that the test is decided");
    options->given = command;
    command->add_option("FILE", options->sound.path, "The recording so far, or the folder of a case")->required();
    command->add_option("--channel", options->sound.channel, "Which channel of the recording to listen to, from 1")
        ->capture_default_str();
    add_engine_options(*command, options->engine);
    add_plan_options(*command, options->plan);
    command->add_option("--marks", options->marks_path,
                        "Bursts so far (CSV); a pass over several spots is marked 7+8+9, aiming without spray sham");
    command->add_option("--without", options->without, "Spots that cannot be reached")->delimiter(',');
    command->add_flag("--cautions-answered", options->cautions_read, "Every caution was read and answered yes, today");
    command->add_option("--format", options->format, "text or json")
        ->check(CLI::IsMember({"text", "json"}))
        ->capture_default_str();
    command->footer(
        "Example: idlehark plan bay.flac --engine engine.json --map map.json --marks bay.marks.csv\nExample: idlehark "
        "plan my-car");
    command->callback([options, &chosen] { chosen = [options] { return plan_command(*options); }; });
}

}  // namespace idlehark
