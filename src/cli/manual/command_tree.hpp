#pragma once

#include <string>
#include <vector>

namespace CLI {
class App;
}

namespace idlehark::manual {

/// One option or argument as its user sees it.
struct Option {
    std::vector<std::string> names;  ///< "--engine", "-h"; of an argument its one name
    std::string value;               ///< what kind of value follows, in small letters; empty: a switch
    std::vector<std::string> choices;
    std::string preset;       ///< what holds unless given; may be empty
    std::string description;  ///< one sentence or two, without a full stop
    bool required = false;
    bool repeats = false;
};

/// One command with its own commands: what `--help` shows, as plain values.
struct CommandPage {
    std::string path;  ///< "case add log"; of the whole program empty
    std::string summary;
    std::string notes;  ///< what stands below the options in `--help`
    std::vector<Option> arguments, options;
    std::vector<CommandPage> commands;

    [[nodiscard]] std::string name() const { return path.substr(path.rfind(' ') + 1); }
};

/// Everything that `app` lets its user see: hidden commands and options are left out.
[[nodiscard]] CommandPage command_tree(const CLI::App& app);

/// The page and all below it, in the order of `--help`.
[[nodiscard]] std::vector<const CommandPage*> all_pages(const CommandPage& root);

}  // namespace idlehark::manual
