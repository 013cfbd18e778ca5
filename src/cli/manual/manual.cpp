#include "src/cli/manual/manual.hpp"

#include "src/cli/manual/completions.hpp"
#include "src/cli/manual/man_page.hpp"
#include "src/cli/messages.hpp"
#include "src/files/text_file.hpp"

#include <memory>

#include <fmt/format.h>

namespace idlehark {

namespace {

struct ManualOptions {
    std::string kind, out;
};

std::string text_of(const std::string& kind, const manual::CommandPage& root) {
    if (kind == "bash") return manual::bash_completion(root);
    if (kind == "zsh") return manual::zsh_completion(root);
    if (kind == "fish") return manual::fish_completion(root);
    return manual::man_page(root, IDLEHARK_VERSION);
}

}  // namespace

void add_manual(CLI::App& app, Command& chosen) {
    auto options = std::make_shared<ManualOptions>();
    auto* command = app.add_subcommand("manual", "The manual page and the completions of shells, as files");
    command->group("");  // for the build and for packagers: `--help` does not list it
    command->add_option("KIND", options->kind, "man, bash, zsh or fish")
        ->required()
        ->check(CLI::IsMember({"man", "bash", "zsh", "fish"}));
    command->add_option("--out", options->out, "File to write; else the terminal");
    command->callback([options, &app, &chosen] {
        chosen = [options, &app] {
            const auto text = text_of(options->kind, manual::command_tree(app));
            if (options->out.empty()) {
                fmt::print("{}", text);
                return close_output(kExitDone);
            }
            const auto written = write_where_asked(options->out, text);
            return written ? kExitDone : refuse(written.error());
        };
    });
}

}  // namespace idlehark
