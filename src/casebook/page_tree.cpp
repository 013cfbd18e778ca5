#include "src/casebook/page_tree.hpp"

#include <algorithm>
#include <optional>
#include <set>

namespace idlehark {

namespace {

constexpr std::size_t kPage_bytes = 4096;
constexpr std::uint8_t kTableLeaf = 0x0d;
constexpr std::uint8_t kTableInside = 0x05;
constexpr std::uint8_t kIndexLeaf = 0x0a;
constexpr std::uint8_t kIndexInside = 0x02;
constexpr std::size_t kMostChildren = 200;  // of a page that is made here: 200 cells of at most 15 bytes fit
constexpr int kDeepest = 20;

struct Leaf {
    std::uint32_t page = 0;
    std::int64_t first = 0, last = 0;  ///< row numbers
};

class Pages {
   public:
    explicit Pages(std::string& bytes) : bytes_(bytes) {}

    [[nodiscard]] std::uint32_t count() const { return static_cast<std::uint32_t>(bytes_.size() / kPage_bytes); }
    [[nodiscard]] std::uint8_t byte(std::uint32_t page, std::size_t at) const {
        return static_cast<std::uint8_t>(bytes_[(page - 1) * kPage_bytes + at]);
    }
    [[nodiscard]] std::uint32_t number(std::uint32_t page, std::size_t at, std::size_t bytes) const {
        std::uint32_t value = 0;
        for (std::size_t i = 0; i < bytes; ++i) value = (value << 8U) | byte(page, at + i);
        return value;
    }
    [[nodiscard]] static std::size_t head(std::uint32_t page) { return page == 1 ? 100 : 0; }
    [[nodiscard]] std::uint8_t type(std::uint32_t page) const { return byte(page, head(page)); }

    /// Offsets of the cells; nothing if the page's own structure is impossible.
    [[nodiscard]] std::optional<std::vector<std::size_t>> cells(std::uint32_t page) const {
        const bool inside = type(page) == kTableInside || type(page) == kIndexInside;
        const std::size_t from = head(page) + (inside ? 12 : 8);
        const std::size_t n = number(page, head(page) + 3, 2);
        if (from + 2 * n > kPage_bytes) return {};
        std::vector<std::size_t> offsets;
        for (std::size_t i = 0; i < n; ++i) {
            offsets.push_back(number(page, from + 2 * i, 2));
            if (offsets.back() < from + 2 * n || offsets.back() + 4 > kPage_bytes) return {};
        }
        return offsets;
    }

    /// SQLite's variable-length number; moves `at` behind it. Nothing beyond the page.
    [[nodiscard]] std::optional<std::int64_t> varint(std::uint32_t page, std::size_t& at) const {
        std::uint64_t value = 0;
        for (int i = 0; i < 9; ++i, ++at) {
            if (at >= kPage_bytes) return {};
            const auto b = byte(page, at);
            if (i == 8) {
                ++at;
                return static_cast<std::int64_t>((value << 8U) | b);
            }
            value = (value << 7U) | (b & 0x7fU);
            if ((b & 0x80U) == 0) {
                ++at;
                return static_cast<std::int64_t>(value);
            }
        }
        return {};
    }

    struct Row {
        std::int64_t id = 0;
        std::size_t columns = 0;
    };
    [[nodiscard]] std::optional<Row> row(std::uint32_t page, std::size_t cell) const {
        const auto payload = varint(page, cell);
        const auto id = payload && *payload > 0 ? varint(page, cell) : std::nullopt;
        if (!id) return {};
        const auto start = cell;
        const auto head_bytes = varint(page, cell);
        if (!head_bytes || *head_bytes < 1 || *head_bytes > *payload || *head_bytes > 1000) return {};
        Row row{*id, 0};
        const auto end = start + static_cast<std::size_t>(*head_bytes);
        while (cell < end) {
            const auto kind = varint(page, cell);
            if (!kind || *kind < 0 || *kind == 10 || *kind == 11) return {};
            ++row.columns;
        }
        return cell == end ? std::optional{row} : std::nullopt;
    }

    /// The leaf's rows, if all of them are possible and ascending and have `columns` columns.
    [[nodiscard]] std::optional<Leaf> leaf(std::uint32_t page, std::size_t columns) const {
        if (page == 1 || type(page) != kTableLeaf) return {};
        const auto offsets = cells(page);
        if (!offsets || offsets->empty()) return {};
        Leaf leaf{page, 0, 0};
        for (std::size_t i = 0; i < offsets->size(); ++i) {
            const auto r = row(page, (*offsets)[i]);
            if (!r || r->columns != columns || (i > 0 && r->id <= leaf.last)) return {};
            if (i == 0) leaf.first = r->id;
            leaf.last = r->id;
        }
        return leaf;
    }

    /// Writes an inside page of a table over `page`.
    void write_inside(std::uint32_t page, const std::vector<Leaf>& children) {
        std::string made(kPage_bytes, '\0');
        const auto put = [&made](std::size_t at, std::uint32_t value, std::size_t bytes) {
            for (std::size_t i = 0; i < bytes; ++i)
                made[at + i] = static_cast<char>((value >> (8 * (bytes - 1 - i))) & 0xffU);
        };
        std::size_t content = kPage_bytes;
        made[0] = static_cast<char>(kTableInside);
        for (std::size_t i = 0; i + 1 < children.size(); ++i) {
            std::string key;
            auto rest =
                static_cast<std::uint64_t>(children[i].last) & 0x7fffffffffffffULL;  // eight groups of seven bits
            do {
                key.insert(key.begin(), static_cast<char>((rest & 0x7fU) | (key.empty() ? 0U : 0x80U)));
                rest >>= 7U;
            } while (rest > 0);
            content -= 4 + key.size();
            put(content, children[i].page, 4);
            made.replace(content + 4, key.size(), key);
            put(12 + 2 * i, static_cast<std::uint32_t>(content), 2);
        }
        put(3, static_cast<std::uint32_t>(children.size() - 1), 2);
        put(5, static_cast<std::uint32_t>(content), 2);
        put(8, children.back().page, 4);
        bytes_.replace((page - 1) * kPage_bytes, kPage_bytes, made);
    }

    std::uint32_t append() {
        bytes_.append(kPage_bytes, '\0');
        return count();
    }

   private:
    std::string& bytes_;
};

/// Notes all pages of a tree in `seen`; false if it is broken above its leaves.
bool walk(const Pages& pages, std::uint32_t page, int depth, std::set<std::uint32_t>& seen) {
    if (page < 1 || page > pages.count() || depth > kDeepest || !seen.insert(page).second) return false;
    const auto type = pages.type(page);
    if (type == kTableLeaf || type == kIndexLeaf) return true;
    if (type != kTableInside && type != kIndexInside) return depth > 0;  // below the root: a spoilt leaf, lost
    const auto cells = pages.cells(page);
    if (!cells) return false;
    bool sound = true;
    for (const auto at : *cells) sound = walk(pages, pages.number(page, at, 4), depth + 1, seen) && sound;
    return walk(pages, pages.number(page, Pages::head(page) + 8, 4), depth + 1, seen) && sound;
}

void walk_freelist(const Pages& pages, std::set<std::uint32_t>& seen) {
    auto trunk = pages.number(1, 32, 4);
    while (trunk >= 2 && trunk <= pages.count() && seen.insert(trunk).second) {
        const auto n = std::min<std::uint32_t>(pages.number(trunk, 4, 4), kPage_bytes / 4 - 2);
        for (std::uint32_t i = 0; i < n; ++i) seen.insert(pages.number(trunk, 8 + 4 * i, 4));
        trunk = pages.number(trunk, 0, 4);
    }
}

/// Puts the leaves under `root`, with pages between where they are many.
void plant(Pages& pages, std::uint32_t root, std::vector<Leaf> children) {
    while (children.size() > kMostChildren) {
        std::vector<Leaf> parents;
        for (std::size_t from = 0; from < children.size(); from += kMostChildren) {
            const auto to = std::min(from + kMostChildren, children.size());
            const std::vector<Leaf> part{children.begin() + static_cast<std::ptrdiff_t>(from),
                                         children.begin() + static_cast<std::ptrdiff_t>(to)};
            const auto page = pages.append();
            pages.write_inside(page, part);
            parents.push_back({page, part.front().first, part.back().last});
        }
        children = std::move(parents);
    }
    pages.write_inside(root, children);
}

}  // namespace

std::vector<std::string> mend_trees(std::string& bytes, const std::vector<TableTree>& trees) {
    std::vector<std::string> mended;
    if (bytes.size() < 2 * kPage_bytes) return mended;
    bytes.resize(bytes.size() / kPage_bytes * kPage_bytes);
    Pages pages{bytes};
    std::set<std::uint32_t> taken;
    walk_freelist(pages, taken);
    std::vector<TableTree> broken;
    for (const auto& tree : trees) {
        std::set<std::uint32_t> own;
        const bool sound = walk(pages, tree.root, 0, own);
        if (sound || !tree.is_table) taken.insert(own.begin(), own.end());
        if (!sound && tree.is_table && tree.root >= 2 && tree.root <= pages.count()) broken.push_back(tree);
    }
    for (const auto& tree : trees) taken.insert(tree.root);  // a root is never a leaf of another
    const auto last = pages.count();
    for (const auto& tree : broken) {
        const bool alone =
            std::count_if(broken.begin(), broken.end(), [&](const auto& b) { return b.columns == tree.columns; }) == 1;
        if (!alone) continue;
        std::vector<Leaf> leaves;
        for (std::uint32_t page = 2; page <= last; ++page)
            if (!taken.contains(page))
                if (const auto leaf = pages.leaf(page, tree.columns)) leaves.push_back(*leaf);
        std::sort(leaves.begin(), leaves.end(), [](const Leaf& a, const Leaf& b) { return a.first < b.first; });
        std::vector<Leaf> in_order;
        for (const auto& leaf : leaves)
            if (in_order.empty() || leaf.first > in_order.back().last) in_order.push_back(leaf);
        if (in_order.empty()) continue;
        plant(pages, tree.root, std::move(in_order));
        mended.push_back(tree.name);
    }
    return mended;
}

}  // namespace idlehark
