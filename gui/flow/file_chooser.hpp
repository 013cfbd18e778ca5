#pragma once

#include "gui/words.hpp"

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace idlehark::gui {

/// A list of folders and files to choose one from, over everything else.
class FileChooser {
   public:
    enum class Wanted { sound, marks, folder, picture };
    /// Opens it where it was left last, at first in the user's home.
    void open(Wanted wanted);
    /// Draws it while it is open; the choice, once.
    [[nodiscard]] std::optional<std::string> draw(const Words& say, float scale);
    [[nodiscard]] bool is_open() const noexcept { return open_; }

   private:
    void enter(const std::filesystem::path& folder);
    Wanted wanted_ = Wanted::sound;
    bool open_ = false, just_opened_ = false;
    std::filesystem::path folder_;
    std::string typed_, fault_;
    struct Entry {
        std::string name;
        bool folder;
    };
    std::vector<Entry> entries_;
};

}  // namespace idlehark::gui
