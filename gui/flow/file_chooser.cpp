#include "gui/flow/file_chooser.hpp"

#include <algorithm>
#include <array>
#include <cctype>
#include <cstdlib>
#include <string_view>

#include <imgui.h>
#include <imgui_stdlib.h>

namespace idlehark::gui {

namespace fs = std::filesystem;

namespace {

constexpr std::size_t kMostEntries = 5000;

bool fits(FileChooser::Wanted wanted, const fs::path& file) {
    std::string ending = file.extension().string();
    std::transform(ending.begin(), ending.end(), ending.begin(),
                   [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
    const auto one_of = [&](std::initializer_list<std::string_view> list) {
        return std::find(list.begin(), list.end(), ending) != list.end();
    };
    switch (wanted) {
        case FileChooser::Wanted::sound:
            return one_of({".wav", ".flac", ".ogg", ".oga", ".opus", ".mp3", ".aif", ".aiff", ".m4a", ".mp4", ".3gp",
                           ".webm", ".mkv", ".mov", ".amr", ".aac"});
        case FileChooser::Wanted::marks:
            return one_of({".csv"});
        case FileChooser::Wanted::picture:
            return one_of({".jpg", ".jpeg", ".png"});
        case FileChooser::Wanted::folder:
            break;
    }
    return false;
}

}  // namespace

void FileChooser::open(Wanted wanted) {
    wanted_ = wanted;
    open_ = just_opened_ = true;
    if (folder_.empty()) {
        const char* home = std::getenv("HOME");
        std::error_code code;
        folder_ = home && *home == '/' ? fs::path{home} : fs::current_path(code);
    }
    enter(folder_);
}

FileChooser::Look FileChooser::look_at(const fs::path& path, Wanted wanted) {
    Look look;
    std::error_code code;
    if (wanted != Wanted::folder && fs::is_regular_file(path, code)) {
        look.choice = path.string();
        return look;
    }
    fs::directory_iterator it{path, fs::directory_options::skip_permission_denied, code};
    if (code) {
        look.fault = path.string() + ": " + code.message();
        return look;
    }
    look.folder = path;
    for (; it != fs::directory_iterator{} && look.entries.size() < kMostEntries; it.increment(code)) {
        if (code) break;
        const std::string name = it->path().filename().string();
        std::error_code why;
        const bool is_folder = it->is_directory(why);
        if (name.starts_with('.') || (!is_folder && !fits(wanted, it->path()))) continue;
        look.entries.push_back({name, is_folder});
    }
    std::sort(look.entries.begin(), look.entries.end(),
              [](const Entry& a, const Entry& b) { return a.folder != b.folder ? a.folder : a.name < b.name; });
    return look;
}

void FileChooser::enter(const fs::path& path) {
    looking_.start([path, wanted = wanted_] { return look_at(path, wanted); });
}

std::optional<std::string> FileChooser::draw(const Words& say, float scale) {
    if (!open_) return {};
    constexpr const char* kId = "##files";
    if (just_opened_) ImGui::OpenPopup(kId);
    const auto size = ImGui::GetIO().DisplaySize;
    ImGui::SetNextWindowPos({0.5F * size.x, 0.5F * size.y}, ImGuiCond_Always, {0.5F, 0.5F});
    ImGui::SetNextWindowSize({std::min(0.94F * size.x, 760.0F * scale), std::min(0.9F * size.y, 620.0F * scale)});
    if (!ImGui::BeginPopupModal(kId, nullptr,
                                ImGuiWindowFlags_NoTitleBar | ImGuiWindowFlags_NoResize | ImGuiWindowFlags_NoMove)) {
        open_ = false;
        return {};
    }
    std::optional<std::string> choice;
    std::optional<fs::path> go;
    if (auto found = looking_.take()) {
        fault_ = std::move(found->fault);
        choice = std::move(found->choice);
        if (fault_.empty() && !choice) {
            folder_ = found->folder;
            typed_ = folder_.string();
            entries_ = std::move(found->entries);
        }
    }
    const float button = 120.0F * scale;
    if (ImGui::Button(say(Word::up_a_folder), {0.6F * button, 0.0F})) go = folder_.parent_path();
    ImGui::SameLine();
    ImGui::SetNextItemWidth(-1.0F);
    if (just_opened_) ImGui::SetKeyboardFocusHere();
    if (ImGui::InputText("##path", &typed_, ImGuiInputTextFlags_EnterReturnsTrue)) go = fs::path{typed_};
    just_opened_ = false;
    if (!fault_.empty()) ImGui::TextWrapped("%s", fault_.c_str());
    const float line = ImGui::GetFrameHeightWithSpacing();
    if (ImGui::BeginChild("##list", {0.0F, -1.3F * line}, true)) {
        for (const auto& e : entries_) {
            const std::string shown = e.folder ? e.name + "/" : e.name;
            if (!ImGui::Selectable(shown.c_str(), false, ImGuiSelectableFlags_DontClosePopups, {0.0F, 0.75F * line}))
                continue;
            if (e.folder)
                go = folder_ / e.name;
            else
                choice = (folder_ / e.name).string();
        }
    }
    ImGui::EndChild();
    bool shut = ImGui::Button(say(Word::cancel), {button, 0.0F});
    if (wanted_ == Wanted::folder) {
        ImGui::SameLine();
        if (ImGui::Button(say(Word::choose), {button, 0.0F})) choice = typed_;  // whoever opens it says what it is not
    }
    if (go) enter(*go);
    if (choice || shut) {
        open_ = false;
        looking_.forget();
        ImGui::CloseCurrentPopup();
    }
    ImGui::EndPopup();
    return choice;
}

}  // namespace idlehark::gui
