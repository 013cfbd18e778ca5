#include "src/analysis/compare_visits.hpp"
#include "src/casebook/case_compare.hpp"
#include "src/cli/command.hpp"
#include "src/cli/messages.hpp"
#include "src/files/csv.hpp"
#include "src/files/text_file.hpp"
#include "src/recording/recorder.hpp"
#include "src/report/compare_picture.hpp"
#include "src/report/page.hpp"

#include <cmath>
#include <filesystem>
#include <memory>

#include <fmt/format.h>

namespace idlehark {

namespace {

struct CompareOptions {
    const CLI::App* given = nullptr;  ///< as the command line has it
    std::string before, after;
    int channel = 1;
    EngineOptions engine;
    std::string engine_after, map, marks_before, marks_after;
    std::vector<std::string> injectors_before, injectors_after;
    std::vector<RowId> visits;
    bool anyway = false;
    std::string format = "text", plot;
};

/// bay.flac's marks are bay.marks.csv, if they are there.
std::string marks_beside(const std::string& sound) {
    const auto path = RecordingNames{sound}.marks;
    std::error_code code;
    return std::filesystem::is_regular_file(path, code) ? path : std::string{};
}

Result<VisitRequest> visit_of(const std::string& sound, const CompareOptions& options, const Engine& engine,
                              const std::string& marks, const std::vector<std::string>& injectors) {
    VisitRequest visit;
    visit.listen = {.path = sound, .channel = options.channel, .engine = engine, .hop_s = 0.1};
    if (const auto path = marks.empty() ? marks_beside(sound) : marks; !path.empty()) {
        auto read = read_marks(path);
        if (!read) return read.error();
        visit.marks = std::move(read.value().marks);
    }
    for (const auto& text : injectors) {
        const auto equals = text.find('=');
        const auto cylinder = equals == std::string::npos ? std::nullopt : parse_number(text.substr(0, equals));
        if (!cylinder || std::floor(*cylinder) != *cylinder || std::fabs(*cylinder) > 1000.0 ||
            equals + 1 == text.size())
            return Error{"\"" + text + "\" is not CYLINDER=FILE", "One recording an injector, as in 1=a.wav 2=b.wav"};
        visit.injectors.emplace_back(static_cast<int>(*cylinder), text.substr(equals + 1));
    }
    return visit;
}

/// Two visits of a case: those asked for, else the first and the last.
Result<CompareRequest> request_of_case(const CompareOptions& options) {
    if (const auto own =
            none_given(*options.given,
                       {"--channel", "--engine", "--cylinders", "--strokes", "--idle-rpm", "--engine-after", "--map",
                        "--marks-before", "--marks-after", "--injectors-before", "--injectors-after"},
                       "a case has its own");
        !own)
        return own.error();
    const auto book = Casebook::open(options.before, Casebook::Access::read);
    if (!book) return book.error();
    if (options.visits.size() == 2) {
        if (const auto two = check_two_visits(book.value(), options.visits[0], options.visits[1]); !two)
            return two.error();
        return compare_request(book.value(), options.visits[0], options.visits[1], options.anyway);
    }
    const auto pair = visits_to_compare(book.value());
    if (!pair) return pair.error();
    if (!pair.value())
        return Error{options.before + ": has not two visits with a recording of the idling engine",
                     "`idlehark case show` lists what there is."};
    return compare_request(book.value(), pair.value()->first, pair.value()->second, options.anyway);
}

Result<CompareRequest> request_of(const CompareOptions& options) {
    const bool in_case = is_there(CaseFolder{options.before}.database());
    if (in_case != options.after.empty())
        return Error{in_case ? "a case is compared with itself: two of its visits, --visits 1,2"
                             : "the recording of the visit after is missing",
                     "compare BEFORE AFTER --engine E.json, or compare CASE --visits 1,2"};
    if (in_case) return request_of_case(options);
    if (const auto no_case = none_given(*options.given, {"--visits"}, "goes with the folder of a case"); !no_case)
        return no_case.error();
    const auto engine = resolve(options.engine);
    if (!engine) return engine.error();
    auto engine_after = engine;
    if (!options.engine_after.empty()) {
        engine_after = resolve({.path = options.engine_after, .cylinders = {}, .strokes = {}, .idle_rpm = {}});
        if (!engine_after) return engine_after.error();
    }
    auto before = visit_of(options.before, options, engine.value(), options.marks_before, options.injectors_before);
    if (!before) return before.error();
    auto after = visit_of(options.after, options, engine_after.value(), options.marks_after, options.injectors_after);
    if (!after) return after.error();
    CompareRequest request;
    request.before = std::move(before.value());
    request.after = std::move(after.value());
    request.anyway = options.anyway;
    if (!options.map.empty()) {
        auto map = read_map(options.map, engine.value().cylinders);
        if (!map) return map.error();
        for (const auto& text : map.value().warnings) warn(text);
        request.map = std::move(map.value().map);
    }
    return request;
}

int compare(const CompareOptions& options) {
    const auto request = request_of(options);
    if (!request) return refuse(request.error());
    if (!options.plot.empty())
        if (const auto named = check_picture_name(options.plot); !named) return refuse(named.error());
    Progress progress{"listening"};
    ListenSinks sinks;
    sinks.progress = [&](std::uint64_t done, std::uint64_t total) { progress.at(done, total); };
    const auto outcome = compare_visits(request.value(), sinks);
    progress.end();
    if (const auto* failure = std::get_if<VisitFailure>(&outcome))
        return failure->sound_is_why ? no_answer(failure->error) : refuse(failure->error);
    const auto& view = std::get<CompareView>(outcome);
    fmt::print("{}", options.format == "json" ? compare_json(view) : compare_table(view));
    if (!options.plot.empty())
        if (const auto drawn = draw_compare(view, options.plot); !drawn) return refuse(drawn.error());
    return close_output(kExitDone);
}

}  // namespace

void add_compare(CLI::App& app, Command& chosen) {
    auto options = std::make_shared<CompareOptions>();
    auto* command = app.add_subcommand("compare", "Did the repair work? Two visits, figure by figure");
    options->given = command;
    command
        ->add_option("BEFORE", options->before,
                     "Recording of the visit before: idle, or a whole spray test; or the folder of a case")
        ->required();
    command->add_option("AFTER", options->after, "Recording of the visit after; not with a case");
    command->add_option("--visits", options->visits, "With a case: which two visits, as in 1,2 (first and last)")
        ->delimiter(',')
        ->expected(2);
    command->add_option("--channel", options->channel, "Which channel of the recordings to listen to, from 1")
        ->capture_default_str();
    add_engine_options(*command, options->engine);
    command->add_option("--engine-after", options->engine_after, "Engine file of the visit after, if it has its own");
    command->add_option("--map", options->map, "Map file (JSON): names and places of the spots");
    command->add_option("--marks-before", options->marks_before,
                        "Marks (CSV) of the visit before; else those beside the recording (bay.marks.csv)");
    command->add_option("--marks-after", options->marks_after, "Marks (CSV) of the visit after");
    command->add_option("--injectors-before", options->injectors_before,
                        "CYLINDER=FILE for each injector recorded on the visit before");
    command->add_option("--injectors-after", options->injectors_after, "The same of the visit after");
    command->add_flag("--anyway", options->anyway, "Compare a cold idle with a warm one all the same");
    command->add_option("--format", options->format, "text or json")
        ->check(CLI::IsMember({"text", "json"}))
        ->capture_default_str();
    command->add_option("--plot", options->plot, "Also draw the comparison into this .png or .svg file");
    command->footer(
        "Verdicts: better, worse, changed (the idle: within its range, or as far out on the other side), no proven "
        "change:\n"
        "at 5 % over all figures. Spray each spot three times on each visit: one burst proves no repair, two hardly "
        "ever.\n"
        "Example: idlehark compare before.flac after.flac --engine engine.json --map map.json --plot repair.png\n"
        "         idlehark compare my-car --visits 1,2");
    command->callback([options, &chosen] { chosen = [options] { return compare(*options); }; });
}

}  // namespace idlehark
