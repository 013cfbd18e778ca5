#include "src/cli/manual/completions.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace idlehark::manual {

namespace {

std::string replaced(std::string text, std::string_view from, std::string_view to) {
    for (auto at = text.find(from); at != std::string::npos; at = text.find(from, at + to.size()))
        text.replace(at, from.size(), to);
    return text;
}

/// One word for any shell, whatever is in it.
std::string quoted(const std::string& text) { return "'" + replaced(text, "'", "'\\''") + "'"; }

std::string joined(const std::vector<std::string>& words, std::string_view between) {
    return fmt::format("{}", fmt::join(words, between));
}

/// Words that the shell takes apart at blanks; one with a blank in it is left to be typed.
std::string offered(const std::vector<std::string>& words) {
    std::vector<std::string> plain;
    std::copy_if(words.begin(), words.end(), std::back_inserter(plain),
                 [](const auto& w) { return w.find(' ') == std::string::npos; });
    return joined(plain, " ");
}

bool takes_files(const Option& o) { return o.value == "text" && o.choices.empty(); }

/// Every path but the program's own, quoted: what the scripts recognise a command by.
std::vector<std::string> quoted_paths(const CommandPage& root) {
    std::vector<std::string> paths;
    for (const auto* page : all_pages(root))
        if (!page->path.empty()) paths.push_back(quoted(page->path));
    return paths;
}

std::vector<std::string> command_names(const CommandPage& page) {
    std::vector<std::string> names;
    for (const auto& command : page.commands) names.push_back(command.name());
    return names;
}

constexpr std::string_view kMade = "made by `idlehark manual`, from what `--help` shows";

}  // namespace

std::string bash_completion(const CommandPage& root) {
    std::string by_command, by_option;
    for (const auto* page : all_pages(root)) {
        std::vector<std::string> options;
        for (const auto& o : page->options) {
            options.insert(options.end(), o.names.begin(), o.names.end());
            if (o.value.empty() || takes_files(o)) continue;
            std::vector<std::string> patterns;
            for (const auto& name : o.names) patterns.push_back(quoted(page->path + " " + name));
            by_option +=
                fmt::format("        {}) words={} known=1 ;;\n", joined(patterns, "|"), quoted(offered(o.choices)));
        }
        by_command += fmt::format("        {}) options={} commands={} ;;\n", quoted(page->path),
                                  quoted(joined(options, " ")), quoted(offered(command_names(*page))));
    }
    return fmt::format(R"(# bash completion for idlehark; {}
_idlehark() {{
    local current=${{COMP_WORDS[COMP_CWORD]}} before=${{COMP_WORDS[COMP_CWORD - 1]}}
    local command= word options= commands= words= known= i
    COMPREPLY=()
    for ((i = 1; i < COMP_CWORD; i++)); do
        word=${{command:+$command }}${{COMP_WORDS[i]}}
        case $word in
        {}) command=$word ;;
        esac
    done
    if [[ $current == = ]]; then  # bash takes --format=json apart at the sign
        current=
    elif [[ $before == = ]]; then
        before=${{COMP_WORDS[COMP_CWORD - 2]}}
    fi
    case "$command $before" in
{}    esac
    case $command in
{}    esac
    if [[ $known ]]; then
        compopt +o default
        COMPREPLY=($(compgen -W "$words" -- "$current"))
    elif [[ $current == -* ]]; then
        COMPREPLY=($(compgen -W "$options" -- "$current"))
    elif [[ $commands && $before != -* ]]; then
        COMPREPLY=($(compgen -W "$commands" -- "$current"))
    fi
}}
complete -o default -F _idlehark idlehark
)",
                       kMade, joined(quoted_paths(root), "|"), by_option, by_command);
}

std::string zsh_completion(const CommandPage& root) {
    // Inside an option's brackets a bracket is escaped, in a described word a colon.
    const auto described = [](const std::string& text) {
        return replaced(replaced(replaced(text, "\\", "\\\\"), "[", "\\["), "]", "\\]");
    };
    const auto value = [](const Option& o) {
        if (!o.choices.empty()) return fmt::format(":{}:({})", o.value, offered(o.choices));
        return o.value == "text" ? ":text:_files" : ":" + o.value + ": ";
    };
    std::string by_command;
    for (const auto* page : all_pages(root)) {
        std::vector<std::string> specs;
        for (const auto& o : page->options) {
            const auto many = o.repeats ? "*" : "";
            for (const auto& name : o.names)
                specs.push_back(quoted(
                    fmt::format("{}{}[{}]{}", many, name, described(o.description), o.value.empty() ? "" : value(o))));
        }
        std::size_t place = 0;
        for (const auto& a : page->arguments)
            specs.push_back(quoted(fmt::format("{}:{}:_files", a.repeats ? "*" : std::to_string(++place),
                                               replaced(a.names.front(), ":", "\\:"))));
        if (!page->commands.empty()) {
            std::vector<std::string> list;
            for (const auto& command : page->commands)
                list.push_back(quoted(replaced(command.name(), ":", "\\:") + ":" + command.summary));
            by_command +=
                fmt::format("    {})\n        commands=({})\n", quoted(page->path), joined(list, "\n            "));
            specs.push_back(quoted(fmt::format("{}:command:{{_describe command commands}}", ++place)));
        } else {
            by_command += fmt::format("    {})\n", quoted(page->path));
        }
        by_command += fmt::format("        _arguments {} ;;\n", joined(specs, " \\\n            "));
    }
    return fmt::format(R"(#compdef idlehark
# zsh completion for idlehark; {}
local command= word
local -i i at=1
local -a commands
for ((i = 2; i < CURRENT; i++)); do
    word=${{command:+$command }}$words[i]
    case $word in
    {}) command=$word at=i ;;
    esac
done
shift $((at - 1)) words
((CURRENT -= at - 1))
case $command in
{}esac
)",
                       kMade, joined(quoted_paths(root), "|"), by_command);
}

std::string fish_completion(const CommandPage& root) {
    const auto line = [](const CommandPage& page) {
        return fmt::format("complete -c idlehark -n '__idlehark_at {}'",
                           page.path.empty() ? "\"\"" : "\"" + page.path + "\"");
    };
    // fish knows \' inside single quotes, and takes a backslash for itself.
    const auto word = [](const std::string& text) {
        return "'" + replaced(replaced(text, "\\", "\\\\"), "'", "\\'") + "'";
    };
    std::string lines;
    for (const auto* page : all_pages(root)) {
        for (const auto& command : page->commands)
            lines += fmt::format("{} -f -a {} -d {}\n", line(*page), command.name(), word(command.summary));
        for (const auto& o : page->options) {
            lines += line(*page);
            for (const auto& name : o.names)
                lines += name[1] == '-' ? " -l " + name.substr(2) : " -s " + name.substr(1);
            if (!o.choices.empty())
                lines += fmt::format(" -x -a {}", word(offered(o.choices)));
            else if (!o.value.empty())
                lines += takes_files(o) ? " -r" : " -x";
            lines += fmt::format(" -d {}\n", word(o.description));
        }
    }
    return fmt::format(R"(# fish completion for idlehark; {}
function __idlehark_at --description 'Whether the command typed so far is this one'
    set -l typed
    for word in (commandline -opc)[2..-1]
        set -l next (string join ' ' -- $typed $word)
        contains -- $next {}
        and set typed $next
    end
    test "$typed" = $argv[1]
end
{})",
                       kMade, joined(quoted_paths(root), " "), lines);
}

}  // namespace idlehark::manual
