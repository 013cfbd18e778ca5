#pragma once

#include "gui/look/fetch.hpp"
#include "gui/words.hpp"

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace idlehark::gui {

/// A list of folders and files to choose one from, over everything else. Disks may be slow: all that asks them is done
/// off the window's thread.
class FileChooser {
   public:
    enum class Wanted { sound, marks, folder, picture };
    /// Opens it where it was left last, at first in the user's home.
    void open(Wanted wanted);
    /// Draws it while it is open; the choice, once.
    [[nodiscard]] std::optional<std::string> draw(const Words& say, float scale);
    [[nodiscard]] bool is_open() const noexcept { return open_; }
    /// A disk is being asked: draw again soon.
    [[nodiscard]] bool waiting() const noexcept { return looking_.waiting(); }

   private:
    struct Entry {
        std::string name;
        bool folder;
    };
    /// What a path turned out to be: the choice itself, a folder with its entries, or nothing that can be read.
    struct Look {
        std::filesystem::path folder;
        std::vector<Entry> entries;
        std::string fault;
        std::optional<std::string> choice;
    };
    [[nodiscard]] static Look look_at(const std::filesystem::path& path, Wanted wanted);
    void enter(const std::filesystem::path& path);

    Wanted wanted_ = Wanted::sound;
    bool open_ = false, just_opened_ = false;
    std::filesystem::path folder_;
    std::string typed_, fault_;
    std::vector<Entry> entries_;
    Fetch<Look> looking_;
};

}  // namespace idlehark::gui
