#include "firstedge/io/stamp_journal.hpp"

#include "firstedge/core/digest.hpp"
#include "firstedge/core/error.hpp"
#include "firstedge/io/flat_json.hpp"
#include "firstedge/io/locked_file.hpp"
#include "firstedge/io/reading_account_json.hpp"
#include "firstedge/io/stamp_table_rows.hpp"

#include <algorithm>
#include <chrono>
#include <cstring>

namespace firstedge {
namespace {

using Json = nlohmann::ordered_json;

constexpr std::string_view layout_line = "firstedge stamp journal 1\n";
constexpr std::size_t largest_head = std::size_t{64} << 20U;
constexpr std::uint64_t largest_block = std::uint64_t{1} << 30U;
constexpr std::size_t digest_bytes = 64;  // SHA-256 in hexadecimal

// What was written reaches the disk itself after so much of it or so long.
constexpr std::uint64_t bytes_between_settling = std::uint64_t{64} << 20U;
constexpr std::int64_t ns_between_settling = 5'000'000'000;

constexpr std::uint64_t largest_note = std::uint64_t{1} << 16U;

enum class Kind : std::uint64_t {  // "FEJB1", "FEJN1", "FEJE1"
  block = 0x31424a4546,
  note = 0x314e4a4546,
  end = 0x31454a4546
};

// Stands before the payload of a block.
struct BlockPrefix {
  Kind kind = Kind::block;
  std::uint64_t payload_bytes = 0, records = 0, next_record = 0, stamps = 0, triggers = 0;
};
static_assert(std::is_trivially_copyable_v<BlockPrefix> && sizeof(BlockPrefix) == 48);

std::int64_t now_ns() {
  return std::chrono::steady_clock::now().time_since_epoch().count();
}

std::uint64_t stamp_bytes() {
  std::uint64_t bytes = sizeof(std::uint32_t);
  for_each_stamp_number([&](const char*, auto member) { bytes += sizeof(StampField<decltype(member)>); });
  return bytes;
}

constexpr std::uint64_t trigger_bytes = 8 + 8 + 8 + 1;

std::vector<std::byte> bytes_of_text(std::string_view text) {
  const auto bytes = std::as_bytes(std::span(text));
  return {bytes.begin(), bytes.end()};
}

std::string text_of_bytes(std::span<const std::byte> bytes) {
  return {reinterpret_cast<const char*>(bytes.data()), bytes.size()};
}

void append(std::vector<std::byte>& to, std::span<const std::byte> bytes) {
  to.insert(to.end(), bytes.begin(), bytes.end());
}

// The digest of a block is also over the one before it, so that no block can change its place.
std::string chained(const std::string& before, std::span<const std::byte> block) {
  std::vector<std::byte> all = bytes_of_text(before);
  append(all, block);
  return sha256(all);
}

std::string head_of(const JournalFacts& facts) {
  Json json = Json::array();
  for (const auto& [name, text] : facts) json.push_back({name, text});
  return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

// The name of the first fact that is another in the head found; "layout" where that is none.
std::string first_difference(const std::string& found, const std::string& wanted) {
  const Error refusal("journal", "has another head", "");
  try {
    const Json there = flat_json(found, refusal), here = flat_json(wanted, refusal);
    for (std::size_t i = 0; i < here.size(); ++i) {
      if (i >= there.size() || there.at(i) != here.at(i)) return here.at(i).at(0);
    }
  } catch (const Json::exception&) {
  } catch (const Error&) {
  }
  return "layout";
}

// Nothing where the rows cannot be stamps and triggers of these records.
std::optional<JournalBlock> block_of(const BlockPrefix& prefix, std::uint64_t first_record,
                                     std::span<const std::byte> payload, const JournalLimits& limits) {
  const std::vector<std::byte> bytes(payload.begin(), payload.end());
  RowReader row(bytes);
  JournalBlock block{.records = prefix.records, .next_record = prefix.next_record};
  std::uint64_t least_record = first_record;
  const auto in_order = [&](std::uint64_t record) {
    const bool good = record >= least_record && record < prefix.next_record;
    least_record = record;
    return good;
  };
  block.stamps.resize(prefix.stamps);
  for (Stamp& stamp : block.stamps) {
    for_each_stamp_number(
        [&](const char*, auto member) { stamp.*member = row.number<StampField<decltype(member)>>(); });
    stamp.flags = FlagSet::from_bits(row.number<std::uint32_t>());
    if (stamp.channel >= limits.channels || stamp.method >= limits.methods || !in_order(stamp.record))
      return std::nullopt;
  }
  least_record = first_record;
  block.triggers.resize(prefix.triggers);
  for (TriggerRow& trigger : block.triggers) {
    trigger.record = row.number<std::uint64_t>();
    trigger.instant.seconds = row.number<std::int64_t>();
    trigger.instant.femtoseconds = row.number<std::int64_t>();
    const auto scale = row.number<std::uint8_t>();
    if (scale >= time_scales.size() || !in_order(trigger.record)) return std::nullopt;
    trigger.instant.scale = time_scales.at(scale);
  }
  return block;
}

bool is_possible(const BlockPrefix& prefix, std::uint64_t next_record) {
  if (prefix.payload_bytes > largest_block) return false;
  if (prefix.kind == Kind::end) return true;
  if (prefix.kind == Kind::note) return prefix.payload_bytes <= largest_note;
  // Neither product can overflow: the counts are held below the payload's size.
  return prefix.kind == Kind::block && prefix.stamps <= prefix.payload_bytes &&
         prefix.triggers <= prefix.payload_bytes &&
         prefix.stamps * stamp_bytes() + prefix.triggers * trigger_bytes == prefix.payload_bytes &&
         prefix.next_record > next_record && prefix.records > 0 &&
         prefix.records <= prefix.next_record - next_record;
}

}  // namespace

StampJournal::StampJournal(const std::filesystem::path& file, const JournalFacts& facts,
                           const JournalLimits& limits)
    : head_(head_of(facts)), limits_(limits), file_(std::make_unique<LockedFile>(file)) {
  first_.digest = sha256(bytes_of_text(head_));
  const std::string head =
      std::string(layout_line) + std::to_string(head_.size()) + "\n" + head_ + "\n" + first_.digest + "\n";
  first_.offset = head.size();
  const std::vector<std::byte> wanted = bytes_of_text(head);
  if (file_->read(0, wanted.size()) == wanted) {
    read_what_stands();
    return;
  }
  if (const std::uint64_t size = file_->size(); size > 0) {
    const std::string there = text_of_bytes(file_->read(0, largest_head));
    const std::size_t from = there.find('\n', layout_line.size());
    const std::size_t to = there.find('\n', from + 1);
    const bool is_journal = there.starts_with(layout_line) && from < there.size() && to < there.size();
    differing_fact_ = is_journal ? first_difference(there.substr(from + 1, to - from - 1), head_) : "layout";
  }
  file_->cut(0);
  file_->write(0, wanted);
  end_ = first_;
}

StampJournal::~StampJournal() {
  if (end_.records == 0 && !account_) remove();
}

const std::filesystem::path& StampJournal::file() const {
  return file_->path();
}

void StampJournal::read_what_stands() {
  end_ = first_;
  while (!account_) {
    const std::optional<Found> found = block_after(end_);
    if (!found) break;
    end_ = found->end;
    account_ = found->account;
    if (found->note) notes_.insert_or_assign(found->note->first, found->note->second);
  }
  file_->cut(end_.offset);
}

std::optional<StampJournal::Found> StampJournal::block_after(const End& end) const {
  BlockPrefix prefix;
  const std::vector<std::byte> start = file_->read(end.offset, sizeof prefix);
  if (start.size() < sizeof prefix) return std::nullopt;
  std::memcpy(&prefix, start.data(), sizeof prefix);
  if (!is_possible(prefix, end.next_record)) return std::nullopt;
  const std::size_t hashed = sizeof prefix + prefix.payload_bytes;
  if (file_->size() - end.offset < hashed + digest_bytes) return std::nullopt;
  const std::vector<std::byte> bytes = file_->read(end.offset, hashed + digest_bytes);
  if (bytes.size() < hashed + digest_bytes) return std::nullopt;
  const auto block = std::span(bytes).first(hashed);
  Found found;
  found.end = end;
  found.end.digest = chained(end.digest, block);
  if (text_of_bytes(std::span(bytes).subspan(hashed)) != found.end.digest) return std::nullopt;
  found.end.offset += hashed + digest_bytes;
  const auto payload = block.subspan(sizeof prefix);
  if (prefix.kind == Kind::note) {
    const std::string text = text_of_bytes(payload);
    const std::size_t name = std::min(text.find('\n'), text.size());
    found.note.emplace(text.substr(0, name), text.substr(std::min(name + 1, text.size())));
    return found;
  }
  if (prefix.kind == Kind::end) {
    try {
      found.account = reading_account_from_json(text_of_bytes(payload), file_->path().string());
    } catch (const Error&) {
      return std::nullopt;
    }
    return found;
  }
  found.block = block_of(prefix, end.next_record, payload, limits_);
  if (!found.block) return std::nullopt;
  found.end.records += prefix.records;
  found.end.next_record = prefix.next_record;
  return found;
}

void StampJournal::replay(const std::function<void(const JournalBlock&)>& call) const {
  for (End at = first_; at.next_record < end_.next_record;) {
    const std::optional<Found> found = block_after(at);
    if (!found || (!found->block && !found->note))
      throw Error(file_->path().string(), "has changed while it was read", "give the same command again");
    if (found->block) call(*found->block);
    at = found->end;
  }
}

std::optional<std::string> StampJournal::noted(const std::string& name) const {
  const auto found = notes_.find(name);
  return found == notes_.end() ? std::nullopt : std::optional(found->second);
}

void StampJournal::note(const std::string& name, const std::string& text) {
  const std::vector<std::byte> bytes = bytes_of_text(name + "\n" + text);
  append_block(bytes_of(BlockPrefix{.kind = Kind::note, .payload_bytes = bytes.size()}), bytes);
  notes_.insert_or_assign(name, text);
}

void StampJournal::append(std::uint64_t records, std::uint64_t next_record, std::span<const Stamp> stamps,
                          std::span<const TriggerRow> triggers) {
  RowBytes rows;
  for (const Stamp& stamp : stamps) {
    for_each_stamp_number([&](const char*, auto member) { rows.add(stamp.*member); });
    rows.add(stamp.flags.bits());
  }
  for (const TriggerRow& row : triggers) {
    rows.add(row.record);
    rows.add(row.instant.seconds);
    rows.add(row.instant.femtoseconds);
    rows.add(static_cast<std::uint8_t>(row.instant.scale));
  }
  const BlockPrefix prefix{.kind = Kind::block,
                           .payload_bytes = rows.bytes().size(),
                           .records = records,
                           .next_record = next_record,
                           .stamps = stamps.size(),
                           .triggers = triggers.size()};
  if (!is_possible(prefix, end_.next_record))
    throw Error(file_->path().string(), "cannot hold a block of so many stamps", "choose smaller blocks");
  append_block(bytes_of(prefix), rows.bytes());
  end_.records += records;
  end_.next_record = next_record;
}

void StampJournal::end(const ReadingAccount& account) {
  if (account_) return;
  const std::vector<std::byte> text = bytes_of_text(reading_account_json(account));
  append_block(bytes_of(BlockPrefix{.kind = Kind::end, .payload_bytes = text.size()}), text);
  file_->settle();
  account_ = account;
}

void StampJournal::append_block(std::span<const std::byte> prefix, std::span<const std::byte> payload) {
  std::vector<std::byte> bytes(prefix.begin(), prefix.end());
  firstedge::append(bytes, payload);
  const std::string digest = chained(end_.digest, bytes);
  firstedge::append(bytes, bytes_of_text(digest));
  file_->write(end_.offset, bytes);
  end_.offset += bytes.size();
  end_.digest = digest;
  unsettled_bytes_ += bytes.size();
  const std::int64_t now = now_ns();
  if (settled_at_ns_ == 0) settled_at_ns_ = now;
  if (unsettled_bytes_ < bytes_between_settling && now - settled_at_ns_ < ns_between_settling) return;
  file_->settle();
  unsettled_bytes_ = 0;
  settled_at_ns_ = now_ns();
}

void StampJournal::begin_anew() {
  file_->cut(first_.offset);
  end_ = first_;
  account_.reset();
  notes_.clear();
}

void StampJournal::remove() {
  std::error_code ignored;  // one that stays is replayed or dropped by the next run
  std::filesystem::remove(file_->path(), ignored);
}

}  // namespace firstedge
