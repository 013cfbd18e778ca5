#pragma once

#include <bitset>
#include <cstddef>

#include <SFML/Window/Keyboard.hpp>

namespace idlehark::gui {

/// Which keys are down, by what the events say: a key that is held sends its press again and again.
class HeldKeys {
   public:
    /// True if it was down already. A key without a name never was.
    bool press(sf::Keyboard::Key key) {
        if (!named(key)) return false;
        const bool again = down_[at(key)];
        down_.set(at(key));
        return again;
    }
    void release(sf::Keyboard::Key key) {
        if (named(key)) down_.reset(at(key));
    }
    /// After a while in which releases went elsewhere: lets go of what is down no more.
    template <class IsDown>
    void keep(IsDown is_down) {
        for (std::size_t k = 0; k < down_.size(); ++k)
            if (down_[k] && !is_down(static_cast<sf::Keyboard::Key>(k))) down_.reset(k);
    }

   private:
    static bool named(sf::Keyboard::Key key) { return key >= 0 && key < sf::Keyboard::KeyCount; }
    static std::size_t at(sf::Keyboard::Key key) { return static_cast<std::size_t>(key); }

    std::bitset<sf::Keyboard::KeyCount> down_;
};

}  // namespace idlehark::gui
