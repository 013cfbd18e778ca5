#include "src/files/user_folders.hpp"

#include <cstdlib>
#include <fstream>
#include <string_view>
#include <vector>

namespace idlehark {

namespace {

namespace fs = std::filesystem;

std::optional<fs::path> absolute_of(const char* variable) {
    if (const char* value = std::getenv(variable); value && *value == '/') return fs::path{value};
    return {};
}

std::optional<fs::path> home_folder() { return absolute_of("HOME"); }

bool is_folder(const fs::path& path) {
    std::error_code code;
    return fs::is_directory(path, code);
}

/// The line XDG_DOCUMENTS_DIR="$HOME/Documents" of user-dirs.dirs; other values than these two forms are not allowed
/// there.
std::optional<fs::path> documents_folder(const fs::path& home) {
    if (const auto set = absolute_of("XDG_DOCUMENTS_DIR")) return set;
    std::ifstream file{absolute_of("XDG_CONFIG_HOME").value_or(home / ".config") / "user-dirs.dirs"};
    constexpr std::string_view kKey = "XDG_DOCUMENTS_DIR=\"", kHome = "$HOME/";
    for (std::string line; std::getline(file, line);) {
        if (!line.starts_with(kKey)) continue;
        const auto value = line.substr(kKey.size(), line.rfind('"') - kKey.size());
        if (value.starts_with(kHome)) return home / value.substr(kHome.size());
        if (value.starts_with('/')) return fs::path{value};
    }
    return {};
}

}  // namespace

std::optional<fs::path> state_folder() {
    if (const auto state = absolute_of("XDG_STATE_HOME")) return *state / "idlehark";
    if (const auto home = home_folder()) return *home / ".local/state/idlehark";
    return {};
}

fs::path usual_cases_folder() {
    constexpr auto kName = "idlehark-cases";
    const auto home = home_folder();
    if (!home) return kName;
    if (is_folder(*home / kName)) return *home / kName;
    if (const auto documents = documents_folder(*home); documents && is_folder(*documents)) return *documents / kName;
    return *home / kName;
}

fs::path recordings_folder() {
    constexpr auto kInstalled = "idlehark/recordings";
    std::vector<fs::path> places;
    std::error_code code;
    if (const auto program = fs::read_symlink("/proc/self/exe", code); !code) {
        const auto folder = program.parent_path();
        places = {folder.parent_path() / "share" / kInstalled, folder.parent_path().parent_path() / "recordings"};
    }
    const char* list = std::getenv("XDG_DATA_DIRS");
    std::string_view rest = list && *list ? list : "/usr/local/share:/usr/share";
    while (!rest.empty()) {
        const auto end = std::min(rest.find(':'), rest.size());
        if (rest.starts_with('/')) places.push_back(fs::path{rest.substr(0, end)} / kInstalled);
        rest.remove_prefix(std::min(end + 1, rest.size()));
    }
    for (const auto& place : places)
        if (fs::is_regular_file(place / "bay.ogg", code)) return place;
    return places.empty() ? fs::path{"recordings"} : places.front();
}

}  // namespace idlehark
