#include "src/casebook/case_text.hpp"
#include "src/casebook/casebook.hpp"
#include "src/casebook/check.hpp"
#include "src/casebook/export.hpp"
#include "src/casebook/measure.hpp"
#include "src/casebook/repair.hpp"
#include "src/cli/command.hpp"
#include "src/cli/messages.hpp"
#include "src/files/csv.hpp"
#include "src/files/engine_file.hpp"
#include "src/files/json_text.hpp"
#include "src/recording/marks_journal.hpp"
#include "src/recording/sound_file.hpp"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <memory>

#include <fmt/format.h>

namespace idlehark {

namespace {

struct CaseOptions {
    std::string folder;
    std::optional<RowId> visit;
    std::string format = "text";

    std::string name;
    EngineOptions engine;
    std::string map;

    Visit new_visit;
    std::string warmth = "not said";

    LogEntry log;
    std::string log_state;

    std::string file, marks, title, text;
    int channel = 1;
    bool quick = false, without_audio = false;
    double matters_rpm = 15.0;
    std::vector<std::string> probes, gains;
    std::string gain = "lines";
};

Result<Casebook> to_write(const CaseOptions& o) { return Casebook::open(o.folder, Casebook::Access::write); }

/// The visit named, else the latest; one is made if there is none yet.
Result<RowId> visit_to_fill(Casebook& book, const CaseOptions& o) {
    if (o.visit) {
        const auto named = book.visit(*o.visit);
        if (!named) return named.error();
        return named.value().id;
    }
    const auto all = book.visits();
    if (!all) return all.error();
    if (!all.value().empty()) return all.value().back().id;
    Visit first;
    first.title = "first visit";
    return book.add_visit(first);
}

int finish(const Result<RowId>& id, std::string_view what) {
    if (!id) return refuse(id.error());
    fmt::print("{} {}\n", what, id.value());
    return close_output(kExitDone);
}

Result<BayMap> map_of(const std::string& path, int cylinders) {
    auto map = read_map(path, cylinders);
    if (!map) return map.error();
    for (const auto& text : map.value().warnings) warn(text);
    return std::move(map.value().map);
}

std::string folder_of(const std::string& file) { return std::filesystem::path{file}.parent_path().string(); }

int case_new(const CaseOptions& o) {
    const auto engine = resolve(o.engine);
    if (!engine) return refuse(engine.error());
    std::optional<BayMap> map;
    if (!o.map.empty()) {
        auto read = map_of(o.map, engine.value().cylinders);
        if (!read) return refuse(read.error());
        map = std::move(read.value());
    }
    auto name = o.name.empty() ? engine.value().name : o.name;
    if (name.empty()) name = safe_name(CaseFolder{o.folder}.path().substr(CaseFolder{o.folder}.path().rfind('/') + 1));
    const auto book = Casebook::create(o.folder, name, engine.value(), map, folder_of(o.map));
    if (!book) return refuse(book.error());
    fmt::print("A case for {} is in {}.\n", name, o.folder);
    return close_output(kExitDone);
}

int case_list(const CaseOptions& o) {
    const auto cases = list_cases(o.folder);
    if (!cases) return refuse(cases.error());
    fmt::print("{}", o.format == "json"
                         ? cases_json(cases.value()).dump(2, ' ', false, Json::error_handler_t::replace) + "\n"
                         : cases_table(cases.value()));
    return close_output(kExitDone);
}

int case_show(const CaseOptions& o) {
    const auto book = Casebook::open(o.folder, Casebook::Access::read);
    if (!book) return refuse(book.error());
    if (o.format == "json") {
        const auto json = case_json(book.value(), o.visit);
        if (!json) return refuse(json.error());
        fmt::print("{}\n", json.value().dump(2, ' ', false, Json::error_handler_t::replace));
    } else {
        const auto text = case_table(book.value(), o.visit);
        if (!text) return refuse(text.error());
        fmt::print("{}", text.value());
    }
    return close_output(kExitDone);
}

int case_check(const CaseOptions& o) {
    const auto book = Casebook::open(o.folder, Casebook::Access::read);
    if (!book) return refuse(book.error());
    Progress progress{"checking"};
    const auto report = check_case(book.value(), o.quick ? CheckDepth::files : CheckDepth::figures,
                                   [&progress](std::size_t done, std::size_t total) { progress.at(done, total); });
    progress.end();
    if (!report) return refuse(report.error());
    if (o.format == "json")
        fmt::print("{}\n", check_json(report.value()).dump(2, ' ', false, Json::error_handler_t::replace));
    else
        fmt::print("{}", check_table(report.value()));
    return close_output(report.value().sound() ? kExitDone : kExitNoAnswer);
}

int case_export(const CaseOptions& o) {
    const auto book = Casebook::open(o.folder, Casebook::Access::read);
    if (!book) return refuse(book.error());
    const auto done = export_case(book.value(), o.file, !o.without_audio);
    if (!done) return refuse(done.error());
    for (const auto& text : done.value().left_out) warn("left out: " + text);
    for (const auto& text : done.value().cautions) warn(text + "; convert it first, or give --without-audio");
    fmt::print(
        "A copy to give away is in {} (recordings: {}, pictures: {}).\n"
        "Sound files and pictures have the names that they have in the case: look whether these tell too much.\n",
        o.file, done.value().recordings, done.value().pictures);
    return close_output(kExitDone);
}

int case_repair(const CaseOptions& o) {
    const auto report = repair_case(o.folder);
    if (!report) return refuse(report.error());
    fmt::print("{}", repair_table(report.value()));
    return close_output(report.value().faults.empty() ? kExitDone : kExitNoAnswer);
}

int add_visit(const CaseOptions& o) {
    auto book = to_write(o);
    if (!book) return refuse(book.error());
    auto visit = o.new_visit;
    visit.warmth = o.warmth == "warm" ? Warmth::warm : o.warmth == "cold" ? Warmth::cold : Warmth::not_said;
    return finish(book.value().add_visit(visit), "visit");
}

/// What the reading says against the limits, unless the user said it.
Result<LogState> log_state(const CaseOptions& o) {
    if (o.log_state == "not-done") return LogState::not_done;
    if (o.log_state == "ok") return LogState::ok;
    if (o.log_state == "faulty") return LogState::faulty;
    const auto& e = o.log;
    if (!e.reading || (!e.low && !e.high))
        return Error{fmt::format("{}: without a reading and a limit only you can say how it turned out", e.name),
                     "Give --state ok, faulty or not-done; or --reading with --low or --high from your manual."};
    return (e.low && *e.reading < *e.low) || (e.high && *e.reading > *e.high) ? LogState::faulty : LogState::ok;
}

int add_log(const CaseOptions& o) {
    auto entry = o.log;
    const auto state = log_state(o);
    if (!state) return refuse(state.error());
    entry.state = state.value();
    entry.visit = o.visit;
    auto book = to_write(o);
    if (!book) return refuse(book.error());
    const auto id = book.value().add_log_entry(entry);
    if (!id) return refuse(id.error());
    fmt::print("{}: {}\n", entry.name, word(entry.state));
    return close_output(kExitDone);
}

/// Measures and stores each; says what was found. Exit code 1 if no sound gave an answer.
int measure_all(Casebook& book, const std::vector<Measurement>& list) {
    bool answered = list.empty();
    for (const auto& what : list) {
        const auto result = measure_and_store(book, what);
        if (!result) return refuse(result.error());
        fmt::print("  {:<10} {}\n", what.kind, finding_of(result.value()));
        answered = answered || result.value().answered;
    }
    const int code = close_output(answered ? kExitDone : kExitNoAnswer);
    if (!answered) warn("the recording is kept all the same");
    return code;
}

int add_recording(const CaseOptions& o) {
    std::vector<Mark> marks;
    if (!o.marks.empty()) {
        auto file = read_marks(o.marks);
        if (!file) return refuse(file.error());
        marks = std::move(file.value().marks);
    } else {
        // Nobody named these: what of them cannot be read does not keep the recording out.
        const auto beside = RecordingNames{o.file}.marks;
        std::error_code code;
        auto read = std::filesystem::is_regular_file(beside, code) ? read_journal(beside) : JournalMarks{};
        if (!read.marks.empty()) warn("the marks are taken from " + beside);
        if (!read.unread.empty()) warn("not every mark is taken: " + read.unread);
        marks = std::move(read.marks);
    }
    if (const auto sound = SoundFile::open(o.file, o.channel); !sound) return refuse(sound.error());
    auto book = to_write(o);
    if (!book) return refuse(book.error());
    const auto visit = visit_to_fill(book.value(), o);
    if (!visit) return refuse(visit.error());
    const auto id = book.value().import_recording(visit.value(), RecordingKind::bay, o.file, o.channel, marks);
    if (!id) return refuse(id.error());
    fmt::print("recording {} in visit {}\n", id.value(), visit.value());
    const auto list = measurements_of_bay(book.value(), id.value(), o.matters_rpm);
    if (!list) return refuse(list.error());
    return measure_all(book.value(), list.value());
}

/// Puts the recordings of an injector set or a hiss survey into the case and measures them together.
int add_set(const CaseOptions& o, RecordingKind kind) {
    std::vector<std::pair<std::string, std::string>> named;
    for (const auto& text : o.probes) {
        const auto equals = text.find('=');
        if (equals == std::string::npos || equals == 0 || equals + 1 == text.size())
            return refuse(
                {fmt::format("\"{}\" is not {}=FILE", text, kind == RecordingKind::hiss ? "SPOT" : "CYLINDER"),
                 "As in 1=a.wav 2=b.wav"});
        named.emplace_back(text.substr(0, equals), text.substr(equals + 1));
        for (std::size_t i = 0; i + 1 < named.size(); ++i)
            if (named[i].first == named.back().first)
                return refuse({fmt::format("{} is given twice", named[i].first), ""});
    }
    Measurement what;
    what.kind = kind == RecordingKind::hiss ? "hiss" : "injectors";
    what.settings = {{"channel", o.channel}};
    if (kind == RecordingKind::hiss) what.settings["gain"] = o.gains.empty() ? o.gain : "declared";
    auto book = to_write(o);
    if (!book) return refuse(book.error());
    auto engine = book.value().engine();
    if (!engine) return refuse(engine.error());
    what.engine = std::move(engine.value());
    for (const auto& [label, path] : named) {
        const auto cylinder = parse_number(label);
        if (kind == RecordingKind::injector &&
            !(cylinder && *cylinder >= 1.0 && *cylinder <= what.engine.engine.cylinders &&
              *cylinder == static_cast<int>(*cylinder)))
            return refuse(
                {fmt::format("{}={}: cylinder {} is not in 1..{}", label, path, label, what.engine.engine.cylinders),
                 ""});
        what.sources.push_back({{}, {0, label, 0.0}});
    }
    for (const auto& text : o.gains) {
        const auto equals = text.find('=');
        const auto db = equals == std::string::npos ? std::nullopt : parse_number(text.substr(equals + 1));
        if (!db || !(std::fabs(*db) <= 100.0))
            return refuse({fmt::format("--gain-db: \"{}\" is not SPOT=DB with -100 to 100 dB", text), "As in 7=+6"});
        const auto at = std::find_if(what.sources.begin(), what.sources.end(),
                                     [&](const auto& s) { return s.second.label == text.substr(0, equals); });
        if (at == what.sources.end()) return refuse({fmt::format("--gain-db: no recording of \"{}\"", text), ""});
        at->second.gain_db = *db;
    }
    // All or none: a set that is put right and given again must not find half of itself there.
    for (const auto& [label, path] : named)
        if (const auto sound = SoundFile::open(path, o.channel); !sound) return refuse(sound.error());
    const auto visit = visit_to_fill(book.value(), o);
    if (!visit) return refuse(visit.error());
    for (std::size_t i = 0; i < named.size(); ++i) {
        const auto id = book.value().import_recording(visit.value(), kind, named[i].second, o.channel, {});
        if (!id) return refuse(id.error());
        auto row = book.value().recording(id.value());
        if (!row) return refuse(row.error());
        what.sources[i].first = std::move(row.value());
        what.sources[i].second.recording = id.value();
    }
    fmt::print("{} recordings in visit {}\n", named.size(), visit.value());
    return measure_all(book.value(), {what});
}

int add_injectors_set(const CaseOptions& o) { return add_set(o, RecordingKind::injector); }
int add_hiss_survey(const CaseOptions& o) { return add_set(o, RecordingKind::hiss); }

int add_note(const CaseOptions& o) {
    auto book = to_write(o);
    if (!book) return refuse(book.error());
    return finish(book.value().add_note(o.visit, o.text), "note");
}

int add_picture(const CaseOptions& o) {
    auto book = to_write(o);
    if (!book) return refuse(book.error());
    return finish(book.value().add_picture(o.visit, o.file, o.title), "picture");
}

int add_engine_file(const CaseOptions& o) {
    const auto engine = read_engine(o.file);
    if (!engine) return refuse(engine.error());
    for (const auto& text : engine.value().warnings) warn(text);
    auto book = to_write(o);
    if (!book) return refuse(book.error());
    return finish(book.value().set_engine(engine.value().engine), "engine");
}

int add_map_file(const CaseOptions& o) {
    auto book = to_write(o);
    if (!book) return refuse(book.error());
    const auto engine = book.value().engine();
    if (!engine) return refuse(engine.error());
    const auto map = map_of(o.file, engine.value().engine.cylinders);
    if (!map) return refuse(map.error());
    return finish(book.value().set_map(map.value(), folder_of(o.file)), "map");
}

using Options = std::shared_ptr<CaseOptions>;
using Action = int (*)(const CaseOptions&);

void set_action(CLI::App& command, const Options& options, Command& chosen, Action action) {
    command.callback([options, &chosen, action] { chosen = [options, action] { return action(*options); }; });
}

void add_visit_option(CLI::App& command, const Options& o) {
    command.add_option("--visit", o->visit, "Which visit, by its number; the latest unless given");
}

void add_format_option(CLI::App& command, const Options& o) {
    command.add_option("--format", o->format, "text or json")
        ->check(CLI::IsMember({"text", "json"}))
        ->capture_default_str();
}

void add_case_add(CLI::App& parent, const Options& o, Command& chosen) {
    auto* add = parent.add_subcommand("add", "Puts something into a case");
    add->add_option("CASE", o->folder, "The case's folder")->required();
    add->require_subcommand(1);
    add->footer(
        "Examples:\n"
        "  idlehark case add marlow visit --title before --warmth warm\n"
        "  idlehark case add marlow log \"fuel pressure\" --reading 2.9 --low 2.5 --high 3.2 --unit bar\n"
        "  idlehark case add marlow recording bay.flac --marks bay.marks.csv");

    auto* visit = add->add_subcommand("visit", "A day at the car");
    visit->add_option("--title", o->new_visit.title, "As in \"before\" or \"after new gasket\"")->required();
    visit->add_option("--date", o->new_visit.date, "As 2026-05-30 or 2026-05-30T14:30; now unless given");
    visit->add_option("--warmth", o->warmth, "Engine warm, cold, or \"not said\"")
        ->check(CLI::IsMember({"warm", "cold", "not said"}))
        ->capture_default_str();
    visit->add_option("--device", o->new_visit.device, "Which microphone or telephone");
    visit->add_option("--gain", o->new_visit.gain, "Its recording level");
    visit->add_option("--note", o->new_visit.note, "Anything else about the day");
    set_action(*visit, o, chosen, add_visit);

    auto* log = add->add_subcommand("log", "A check by other means: what it showed, against your own manual");
    log->add_option("CHECK", o->log.name,
                    "Its name: \"plugs, look\", \"fuel pressure\", \"air meter resistance\", \"throttle sensor "
                    "resistance\", \"ignition timing\", \"cam timing\", \"compression\" or any other")
        ->required();
    log->add_option("--reading", o->log.reading, "What was measured");
    log->add_option("--low", o->log.low, "Lower limit in your manual");
    log->add_option("--high", o->log.high, "Upper limit in your manual");
    log->add_option("--unit", o->log.unit, "Unit of reading and limits");
    log->add_option("--state", o->log_state, "ok, faulty or not-done; from reading and limits unless given")
        ->check(CLI::IsMember({"ok", "faulty", "not-done"}));
    log->add_option("--note", o->log.note, "What was seen");
    add_visit_option(*log, o);
    set_action(*log, o, chosen, add_log);

    auto* recording = add->add_subcommand(
        "recording", "A recording of the idle or of a spray test, copied into the case and measured");
    recording->add_option("FILE", o->file, "The recording")->required();
    recording->add_option("--marks", o->marks,
                          "Marks (CSV): time_s,spot, one row a burst; those beside the recording unless given");
    recording->add_option("--channel", o->channel, "Which channel to listen to, from 1")->capture_default_str();
    recording
        ->add_option("--matters-rpm", o->matters_rpm, "The change of speed that matters; \"none seen\" excludes it")
        ->check(CLI::Range(1.0, 200.0))
        ->capture_default_str();
    add_visit_option(*recording, o);
    set_action(*recording, o, chosen, add_recording);

    auto* injectors = add->add_subcommand("injectors", "A set of injectors, a probe recording each, measured together");
    injectors->add_option("CYLINDER=FILE", o->probes, "As in 1=p1.wav 2=p2.wav")->required();
    injectors->add_option("--channel", o->channel, "Which channel to listen to, from 1")->capture_default_str();
    add_visit_option(*injectors, o);
    set_action(*injectors, o, chosen, add_injectors_set);

    auto* hiss = add->add_subcommand("hiss", "A hiss survey, a probe recording a spot, measured together");
    hiss->add_option("SPOT=FILE", o->probes, "As in 3=a.wav 7=b.wav")->required();
    hiss->add_option("--channel", o->channel, "Which channel to listen to, from 1")->capture_default_str();
    hiss->add_option("--gain", o->gain, "What makes recordings comparable: lines (the engine's own) or declared")
        ->check(CLI::IsMember({"lines", "declared"}))
        ->capture_default_str();
    hiss->add_option("--gain-db", o->gains, "Recording gain of a spot, as in 7=+6; the others count as 0 dB")
        ->allow_extra_args(false);
    add_visit_option(*hiss, o);
    set_action(*hiss, o, chosen, add_hiss_survey);

    auto* note = add->add_subcommand("note", "A remark");
    note->add_option("TEXT", o->text, "What to remember")->required();
    add_visit_option(*note, o);
    set_action(*note, o, chosen, add_note);

    auto* picture =
        add->add_subcommand("picture", "A photo (.jpg, .png); what the camera noted of place and device is left out");
    picture->add_option("FILE", o->file, "The picture")->required();
    picture->add_option("--title", o->title, "What it shows");
    add_visit_option(*picture, o);
    set_action(*picture, o, chosen, add_picture);

    auto* engine = add->add_subcommand("engine", "A corrected engine file, from now on; older results keep theirs");
    engine->add_option("FILE", o->file, "Engine file (JSON)")->required();
    set_action(*engine, o, chosen, add_engine_file);

    auto* map = add->add_subcommand("map", "A map of spots, from now on");
    map->add_option("FILE", o->file, "Map file (JSON)")->required();
    set_action(*map, o, chosen, add_map_file);
}

}  // namespace

void add_case(CLI::App& app, Command& chosen) {
    auto o = std::make_shared<CaseOptions>();
    auto* command =
        app.add_subcommand("case", "A car's casebook: keeps recordings, marks, results and what was ruled out");
    command->require_subcommand(1);
    command->footer(
        "`idlehark case COMMAND --help` explains each.\nExample: idlehark case new marlow --engine engine.json --map "
        "map.json");

    auto* make = command->add_subcommand("new", "Makes a case: one folder for one car");
    make->add_option("FOLDER", o->folder, "The folder; made if it isn't there")->required();
    make->add_option("--name", o->name, "The car's name; the engine's unless given");
    add_engine_options(*make, o->engine);
    make->add_option("--map", o->map, "Map file (JSON): names and places of the spots");
    set_action(*make, o, chosen, case_new);

    auto* list = command->add_subcommand("list", "The cases in a folder");
    list->add_option("FOLDER", o->folder, "The folder that holds the cases")->required();
    add_format_option(*list, o);
    set_action(*list, o, chosen, case_list);

    auto* show = command->add_subcommand("show", "What a case holds");
    show->add_option("CASE", o->folder, "The case's folder")->required();
    add_visit_option(*show, o);
    add_format_option(*show, o);
    set_action(*show, o, chosen, case_show);

    auto* give = command->add_subcommand(
        "export",
        "A copy to give away, without names of devices; sound files and pictures keep their names in the case");
    give->add_option("CASE", o->folder, "The case's folder")->required();
    give->add_option("FOLDER", o->file, "Where the copy goes; must not exist")->required();
    give->add_flag("--without-audio", o->without_audio, "Only tables, marks, pictures and case.json");
    set_action(*give, o, chosen, case_export);

    auto* check =
        command->add_subcommand("check", "Makes every stored figure again from the audio and says which differ");
    check->add_option("CASE", o->folder, "The case's folder")->required();
    check->add_flag("--quick", o->quick, "Only that tables and files are whole; no figure is made again");
    add_format_option(*check, o);
    check->footer("Exit code 1 if anything differs or is damaged. Nothing is changed.");
    set_action(*check, o, chosen, case_check);

    auto* repair = command->add_subcommand("repair", "Keeps all that can still be read of a damaged case");
    repair->add_option("CASE", o->folder, "The case's folder")->required();
    repair->footer(
        "The damaged tables are kept beside the new ones. Close other programs that have the case open first.\n"
        "Exit code 1 if something stays lost.");
    set_action(*repair, o, chosen, case_repair);

    add_case_add(*command, o, chosen);
}

}  // namespace idlehark
