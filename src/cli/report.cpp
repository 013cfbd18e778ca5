#include "src/casebook/case_compare.hpp"
#include "src/casebook/case_report_of.hpp"
#include "src/cli/command.hpp"
#include "src/cli/messages.hpp"
#include "src/files/text_file.hpp"

#include <filesystem>
#include <memory>

#include <fmt/format.h>

namespace idlehark {

namespace {

namespace fs = std::filesystem;

struct ReportOptions {
    std::string folder, out, format;
    std::vector<RowId> visits;
    bool no_compare = false;
};

/// Inside the case everything but a report is a record, and links are not followed: they may be a stranger's.
Result<Done> check_target(const CaseFolder& folder, const std::string& out) {
    const auto inside = [&](const fs::path& path) { return (path / "").string().starts_with(folder.path() + "/"); };
    std::error_code code;
    const fs::path named{out};
    const auto within = fs::weakly_canonical(named.has_parent_path() ? named.parent_path() : ".", code);
    const bool link = fs::is_symlink(fs::symlink_status(named, code));
    if (!inside(within) && !inside(fs::weakly_canonical(named, code))) return Done{};
    const auto name = named.filename();
    if (within == folder.path() && !link && (name == "report.html" || name == "report.json" || name == "report.csv"))
        return Done{};
    return Error{out + ": lies in the case, where a report is called report.html, report.json or report.csv",
                 "Choose one of these names, or another folder."};
}

int report(const ReportOptions& options) {
    const auto book = Casebook::open(options.folder, Casebook::Access::read);
    if (!book) return refuse(book.error());
    if (!options.out.empty())
        if (const auto free = check_target(book.value().folder(), options.out); !free) return refuse(free.error());
    std::optional<std::pair<RowId, RowId>> visits;
    if (options.visits.size() == 2) {
        visits = {options.visits[0], options.visits[1]};
        if (const auto two = check_two_visits(book.value(), visits->first, visits->second); !two)
            return refuse(two.error());
    }
    auto facts = report_of(book.value());
    if (!facts) return refuse(facts.error());
    if (!options.no_compare) {
        Progress progress{"listening"};
        ListenSinks sinks;
        sinks.progress = [&](std::uint64_t done, std::uint64_t total) { progress.at(done, total); };
        if (const auto added = add_compare(book.value(), visits, sinks, facts.value()); !added)
            return refuse(added.error());
    }
    const auto& r = facts.value();
    const auto text = options.format == "json"  ? report_json(r)
                      : options.format == "csv" ? report_csv(r)
                                                : report_html(r);
    if (options.out.empty()) {
        fmt::print("{}", text);
        return close_output(kExitDone);
    }
    if (const auto written = write_where_asked(options.out, text); !written) return refuse(written.error());
    return close_output(kExitDone);
}

}  // namespace

void add_report(CLI::App& app, Command& chosen) {
    auto options = std::make_shared<ReportOptions>();
    auto* command =
        app.add_subcommand("report", "A case as one page to print or send: findings, figures, what is next");
    command->add_option("CASE", options->folder, "The folder of the case")->required();
    command->add_option("-o,--out", options->out, "File to write; else the report goes to the terminal");
    command->add_option("--visits", options->visits, "Which two visits are compared, as in 1,2; else first and last")
        ->delimiter(',')
        ->expected(2);
    command->add_flag("--no-compare", options->no_compare, "Leave out before and after: no sound is listened to");
    options->format = "html";
    command->add_option("--format", options->format, "html, json or csv")
        ->check(CLI::IsMember({"html", "json", "csv"}))
        ->capture_default_str();
    command->footer(
        "The page stands alone: no scripts, nothing from outside, figures drawn inside it; prints on A4 and Letter.\n"
        "Example: idlehark report my-car -o report.html");
    command->callback([options, &chosen] { chosen = [options] { return report(*options); }; });
}

}  // namespace idlehark
