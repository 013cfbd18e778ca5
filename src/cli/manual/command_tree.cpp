#include "src/cli/manual/command_tree.hpp"

#include <algorithm>
#include <cctype>

#include <CLI/CLI.hpp>

namespace idlehark::manual {

namespace {

/// "TEXT:{text,json}", "FLOAT:FLOAT in [1 - 20]" and "INT x 2" name the type first.
std::string value_of(const std::string& type) {
    auto word = type.substr(0, type.find_first_of(": "));
    std::transform(word.begin(), word.end(), word.begin(), [](unsigned char c) { return std::tolower(c); });
    if (word == "float") return "number";
    return word == "int" || word == "uint" ? "count" : word;
}

std::vector<std::string> choices_of(const std::string& type) {
    const auto open = type.find('{');
    const auto close = type.find('}');
    std::vector<std::string> choices;
    if (open == std::string::npos || close == std::string::npos) return choices;
    for (auto at = open + 1; at < close;) {
        const auto comma = std::min(type.find(',', at), close);
        choices.push_back(type.substr(at, comma - at));
        at = comma + 1;
    }
    return choices;
}

Option option_of(const CLI::Option& given) {
    Option o;
    if (given.get_positional()) {
        o.names = {given.get_name(true)};
    } else {
        for (const auto& name : given.get_snames()) o.names.push_back("-" + name);
        for (const auto& name : given.get_lnames()) o.names.push_back("--" + name);
    }
    if (given.get_items_expected_max() > 0) {
        o.value = value_of(given.get_type_name());
        o.choices = choices_of(given.get_type_name());
        o.preset = given.get_default_str();
    }
    o.description = given.get_description();
    o.required = given.get_required();
    o.repeats = given.get_items_expected_max() > 1;
    return o;
}

CommandPage page_of(const CLI::App& app, const std::string& path) {
    CommandPage page;
    page.path = path;
    page.summary = app.get_description();
    page.notes = app.get_footer();
    for (const auto* option : app.get_options()) {
        if (option->get_group().empty()) continue;
        (option->get_positional() ? page.arguments : page.options).push_back(option_of(*option));
    }
    for (const auto* command : app.get_subcommands([](const CLI::App* a) { return !a->get_group().empty(); }))
        page.commands.push_back(
            page_of(*command, path.empty() ? command->get_name() : path + " " + command->get_name()));
    return page;
}

void collect(const CommandPage& page, std::vector<const CommandPage*>& pages) {
    pages.push_back(&page);
    for (const auto& command : page.commands) collect(command, pages);
}

}  // namespace

CommandPage command_tree(const CLI::App& app) { return page_of(app, ""); }

std::vector<const CommandPage*> all_pages(const CommandPage& root) {
    std::vector<const CommandPage*> pages;
    collect(root, pages);
    return pages;
}

}  // namespace idlehark::manual
