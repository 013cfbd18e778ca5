#include "src/cli/manual/man_page.hpp"

#include "src/visit/caution_gate.hpp"

#include <fmt/format.h>

namespace idlehark::manual {

namespace {

/// Any text as roff shows it: backslashes, hyphens that are typed, and lines that begin like a request.
std::string roff(std::string_view text) {
    std::string out;
    bool line_begins = true;
    for (const char c : text) {
        if (line_begins && (c == '.' || c == '\'')) out += "\\&";
        line_begins = c == '\n';
        if (c == '\\')
            out += "\\e";
        else if (c == '-')
            out += "\\-";
        else if (c == '"')
            out += "\\(dq";  // a macro's argument would end at a bare one
        else
            out += c;
    }
    return out;
}

/// With a full stop, unless it ends in something of the kind.
std::string sentence(const std::string& text) {
    return roff(text) + (text.empty() || text.back() == '?' || text.back() == '.' ? "" : ".");
}

std::string call_of(const CommandPage& page) {
    auto call = "idlehark" + (page.path.empty() ? "" : " " + page.path);
    for (const auto& a : page.arguments)
        call += " " + (a.required ? a.names.front() : "[" + a.names.front() + "]") + (a.repeats ? "..." : "");
    if (!page.options.empty()) call += " [options]";
    if (!page.commands.empty()) call += " COMMAND";
    return call;
}

std::string entry(const Option& o) {
    std::string names;
    for (const auto& name : o.names) names += fmt::format("{}\\fB{}\\fR", names.empty() ? "" : ", ", roff(name));
    const bool argument = o.names.front().front() != '-';
    if (!argument && !o.value.empty()) names += fmt::format(" \\fI{}\\fR{}", roff(o.value), o.repeats ? " ..." : "");
    auto text = o.description;
    if (!o.preset.empty()) text += fmt::format(" (unless given: {})", o.preset);
    return fmt::format(".TP\n{}\n{}\n", names, sentence(text));
}

void add_command(const CommandPage& page, std::string& out) {
    out += fmt::format(".SS {}\n{}\n", roff(call_of(page)), sentence(page.summary));
    for (const auto& a : page.arguments) out += entry(a);
    for (const auto& o : page.options)
        if (o.names.front() != "-h") out += entry(o);
    if (!page.notes.empty()) out += fmt::format(".PP\n.nf\n{}\n.fi\n", roff(page.notes));
    for (const auto& command : page.commands) add_command(command, out);
}

std::string cautions() {
    auto out =
        fmt::format(".SH CAUTIONS\n{}\n.PP\nWays without flammable spray come first:\n", roff(caution_precedence()));
    for (const auto way : spray_alternatives()) out += fmt::format(".IP \\(bu 3\n{}\n", roff(way));
    out += ".PP\nBefore any spray, each of these must be answered with yes:\n";
    for (const auto& point : caution_points())
        out += fmt::format(".IP \\(bu 3\n{} If not: {}\n", roff(point.question), roff(point.if_no));
    return out;
}

}  // namespace

std::string man_page(const CommandPage& root, const std::string& version) {
    std::string out = fmt::format(
        ".TH IDLEHARK 1 \"\" \"Idlehark {}\" \"User commands\"\n"
        ".SH NAME\nidlehark \\- hears from the idle which joint of an engine's intake leaks\n"
        ".SH SYNOPSIS\n.B idlehark\n.br\n.B idlehark\n.I COMMAND\n[options]\n",
        roff(version));
    out += fmt::format(".SH DESCRIPTION\n{}\n.PP\n{}\n", roff(root.summary), roff(root.notes));
    out += cautions();
    out += ".SH OPTIONS\n";
    for (const auto& o : root.options) out += entry(o);
    out += ".SH COMMANDS\n";
    for (const auto& command : root.commands)
        out += fmt::format(".TP\n.B {}\n{}\n", roff(command.name()), sentence(command.summary));
    out += ".SH THE COMMANDS ONE BY ONE\n";
    for (const auto& command : root.commands) add_command(command, out);
    out +=
        ".SH EXIT STATUS\n.TP\n.B 0\nDone.\n.TP\n.B 1\nThe sound allows no answer; the reason is said.\n"
        ".TP\n.B 2\nWrong use or bad input.\n.PP\nResults go to standard output, messages to standard error.\n"
        ".SH FILES\n.TP\n.I $XDG_STATE_HOME/idlehark\n"
        "The microphone chosen last and how the window stood; ~/.local/state/idlehark unless set.\n"
        ".TP\n.I idlehark\\-cases\n"
        "Cases that the window makes, in the folder for documents (XDG_DOCUMENTS_DIR), else in the home folder.\n"
        ".TP\n.I /usr/share/doc/idlehark\nThe user's guide.\n"
        ".SH ENVIRONMENT\n.TP\n.B XDG_STATE_HOME, XDG_CONFIG_HOME, XDG_DATA_DIRS, HOME\n"
        "Where these folders lie, by the XDG rules. There is no configuration file.\n"
        ".TP\n.B LC_ALL, LC_CTYPE, LANG\nWhether the terminal shows UTF\\-8.\n";
    return out;
}

}  // namespace idlehark::manual
