#include "src/files/last_choice.hpp"

#include "src/files/text_file.hpp"
#include "src/files/user_folders.hpp"

namespace idlehark {

namespace {

std::string last(const char* what) {
    const auto folder = state_folder();
    if (!folder) return "";
    const auto text = read_text(*folder / what, 4096);
    return text ? text.value().substr(0, text.value().find('\n')) : "";
}

void remember(const char* what, const std::string& line) {
    const auto folder = state_folder();
    if (!folder) return;
    std::error_code code;
    std::filesystem::create_directories(*folder, code);
    if (!code) static_cast<void>(write_text((*folder / what).string(), line + "\n"));
}

}  // namespace

std::string last_device() { return last("device"); }
void remember_device(const std::string& name) { remember("device", name); }
std::string last_case() { return last("case"); }
void remember_case(const std::string& folder) { remember("case", folder); }
std::string last_window() { return last("window"); }
void remember_window(const std::string& line) { remember("window", line); }

}  // namespace idlehark
