#include "tests/src/support.hpp"

#include <algorithm>
#include <cstdlib>
#include <regex>
#include <set>
#include <sstream>

#include <catch2/catch.hpp>

using namespace idlehark;
using Catch::Matchers::Contains;
using test::run_idlehark;
using test::ScratchFolder;

namespace {

struct Help {
    std::string command;  ///< "case add log"
    std::set<std::string> options;
};

/// What `--help` of a command shows, read from its text, and of all commands below it. `call` is how it is asked for: a
/// command's own arguments come before the commands below it.
void read_help(const std::string& command, const std::string& call, std::vector<Help>& all) {
    Help help{command, {}};
    std::istringstream lines{run_idlehark(call + " --help").out};
    std::vector<std::string> below;
    std::string block, arguments;
    for (std::string line; std::getline(lines, line);) {
        std::smatch found;
        if (line.empty() || line.back() == ':') block = line;
        if (block == "Subcommands:" && std::regex_search(line, found, std::regex{"^  ([a-z]+) "}))
            below.push_back(found[1]);
        if (block == "Positionals:" && line.starts_with("  ") && line[2] != ' ') arguments += " x";
        if (block == "Options:" && std::regex_search(line, found, std::regex{"^  (?:-[a-z],)?(--[a-z-]+)"}))
            help.options.insert(found[1]);
    }
    all.push_back(help);
    for (const auto& name : below)
        read_help(command.empty() ? name : command + " " + name, call + arguments + " " + name, all);
}

const std::vector<Help>& everything() {
    static const auto all = [] {
        std::vector<Help> list;
        read_help("", "", list);
        return list;
    }();
    return all;
}

/// What bash offers after these words, the last of them begun.
std::string offered(const ScratchFolder& folder, const std::string& words) {
    const auto out = folder.path("out");
    const auto script = folder.file("ask", "compopt() { :; }\n. " + folder.path("idlehark") + "\nCOMP_WORDS=(" + words +
                                               ")\nCOMP_CWORD=$((${#COMP_WORDS[@]} - 1))\n_idlehark\necho "
                                               "\"${COMPREPLY[*]}\" >" +
                                               out + "\n");
    REQUIRE(std::system(("bash " + script).c_str()) == 0);
    auto text = test::slurp(out);
    text.pop_back();
    return text;
}

}  // namespace

TEST_CASE("Manual: page and completions name every command and option that the help lists", "[src][cli]") {
    const auto& all = everything();
    REQUIRE(all.size() > 20);
    CHECK(std::any_of(all.begin(), all.end(), [](const auto& h) { return h.command == "case add log"; }));
    auto page = run_idlehark("manual man").out;
    for (auto at = page.find("\\-"); at != std::string::npos; at = page.find("\\-", at)) page.erase(at, 1);
    const auto bash = run_idlehark("manual bash").out;
    const auto zsh = run_idlehark("manual zsh").out;
    const auto fish = run_idlehark("manual fish").out;
    for (const auto& help : all) {
        CAPTURE(help.command);
        const auto section = page.find(".SS idlehark " + help.command + " ");
        if (!help.command.empty()) REQUIRE(section != std::string::npos);
        const auto end = page.find(".SS ", section + 1);
        const auto of_command = help.command.empty() ? page : page.substr(section, end - section);
        CHECK_THAT(bash, Contains("'" + help.command + "') options="));
        CHECK_THAT(zsh, Contains("'" + help.command + "')"));
        for (const auto& option : help.options) {
            CAPTURE(option);
            if (option != "--help") CHECK_THAT(of_command, Contains("\\fB" + option + "\\fR"));
            CHECK_THAT(zsh, Contains("'" + option + "[") || Contains("'*" + option + "["));
            CHECK_THAT(fish,
                       Contains("'__idlehark_at \"" + help.command + "\"'") && Contains(" -l " + option.substr(2)));
        }
    }
    CHECK_THAT(page, Contains("licensed technician") && Contains(".SH EXIT STATUS"));
    CHECK_THAT(run_idlehark("--help").out, !Contains("manual"));
    CHECK(run_idlehark("manual troff").code == 2);
}

TEST_CASE("Manual: bash is offered what may stand there", "[src][cli]") {
    const ScratchFolder folder;
    static_cast<void>(folder.file("idlehark", run_idlehark("manual bash").out));
    CHECK(offered(folder, "idlehark inj") == "injectors");
    CHECK_THAT(offered(folder, "idlehark ''"), Contains("idle bursts spray") && !Contains("manual"));
    CHECK(offered(folder, "idlehark spray bay.flac --format ''") == "text json");
    CHECK(offered(folder, "idlehark report my-car --format = h") == "html");
    CHECK(offered(folder, "idlehark report my-car --format =") == "html json csv");
    CHECK(offered(folder, "idlehark plan bay.flac --with") == "--without");
    CHECK(offered(folder, "idlehark case add marlow rec") == "recording");
    CHECK(offered(folder, "idlehark case add marlow log pressure --sta") == "--state");
    CHECK(offered(folder, "idlehark case add marlow log pressure --state not") == "not-done");
    CHECK(offered(folder, "idlehark spray --engine ''").empty());  // files: the shell's own way
    CHECK(offered(folder, "idlehark spray --cylinders ''").empty());
}

TEST_CASE("Manual: zsh and fish can read their completions", "[src][cli]") {
    const ScratchFolder folder;
    bool any = false;
    for (const std::string shell : {"zsh", "fish"}) {
        if (std::system(("command -v " + shell + " >/dev/null 2>&1").c_str()) != 0) continue;
        any = true;
        const auto script = folder.file("completion." + shell, run_idlehark("manual " + shell).out);
        CHECK(std::system((shell + " -n " + script).c_str()) == 0);
    }
    if (!any) WARN("NOT CHECKED: neither zsh nor fish is installed");
}
