#include "src/cli/number_options.hpp"

#include "src/files/csv.hpp"

#include <string>

namespace idlehark {

namespace {

bool digit(char c) { return c >= '0' && c <= '9'; }

/// The complaint; the text without leading zeros otherwise.
std::string plain_number(std::string& text) {
    if (!parse_number(text)) return "\"" + text + "\" is not a number";
    const auto first = text.find_first_of("0123456789.");
    while (text[first] == '0' && first + 1 < text.size() && digit(text[first + 1])) text.erase(first, 1);
    return {};
}

bool takes_number(const CLI::Option& option) {
    const auto type = option.get_type_name();
    return option.get_items_expected_max() > 0 &&
           (type.starts_with("INT") || type.starts_with("UINT") || type.starts_with("FLOAT"));
}

}  // namespace

void read_plain_numbers(CLI::App& app) {
    for (auto* option : app.get_options())
        if (takes_number(*option))
            option->transform(CLI::Validator{plain_number, ""});  // before any range is looked at
    for (auto* command : app.get_subcommands(nullptr)) read_plain_numbers(*command);
}

}  // namespace idlehark
