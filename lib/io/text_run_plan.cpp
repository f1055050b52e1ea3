#include "firstedge/io/text_run_plan.hpp"

#include "firstedge/io/text_records.hpp"

#include <algorithm>
#include <utility>

namespace firstedge {
namespace {

constexpr std::size_t most_channels_looked_into = 64;
constexpr std::size_t most_tries = 20;  // files looked into in search of one that can be read
constexpr std::size_t most_guesses = 40;

// Looks into few files to learn what the run is made of.
class FirstLook {
 public:
  FirstLook(const TextRunPlan& plan, const TextOptions& options) : plan_(plan), options_(options) {}

  TextRunLook look() {
    description_.format = "text";
    description_.files = plan_.files;
    if (plan_.channels.empty()) {
      look_along_the_run();
    } else {
      look_at_each_channel();
    }
    if (!hint_) throw *first_failure_;
    if (plan_.one_record_a_group) description_.record_count = plan_.groups.size();
    add_guesses();
    return {std::move(description_), hint_};
  }

 private:
  bool look_into(const TextRunPlan::Member& member) {
    try {
      const TextRecordStream stream =
          open_text_records(ByteSource::from_file(plan_.files[member.file]), options_, hint_);
      const TextLayout& layout = stream.layout();
      if (!hint_) {
        hint_ = layout.dialect;
        description_.metadata = layout.metadata;
      }
      for (std::size_t i = 0; i < layout.voltages.size(); ++i) add_channel(channel_name(member, layout, i));
      for (const std::string& guess : layout.guesses) add_guess(guess);
      return true;
    } catch (const Error& error) {
      if (!first_failure_) first_failure_ = error;
      return false;
    }
  }

  void add_channel(const std::string& name) {
    auto& channels = description_.channels;
    if (std::find(channels.begin(), channels.end(), name) == channels.end()) channels.push_back(name);
  }

  void add_guess(const std::string& guess) {
    auto& guesses = description_.guesses;
    if (guesses.size() >= most_guesses) return;
    if (std::find(guesses.begin(), guesses.end(), guess) == guesses.end()) guesses.push_back(guess);
  }

  void look_along_the_run() {
    const std::size_t count = plan_.groups.size();
    std::size_t next = 0;
    for (const std::size_t start : {std::size_t{0}, count / 2, count - 1}) {
      std::size_t tries = 0;
      for (next = std::max(next, start); next < count && tries < most_tries; ++tries) {
        if (look_into(plan_.groups[next++].members.front())) break;
      }
    }
  }

  void look_at_each_channel() {
    for (const std::string& channel : plan_.channels) {
      std::size_t tries = description_.channels.size() < most_channels_looked_into ? 0 : most_tries;
      bool found = false;
      for (auto group = plan_.groups.begin(); group != plan_.groups.end() && tries < most_tries && !found;
           ++group) {
        for (const TextRunPlan::Member& member : group->members) {
          if (member.channel != channel) continue;
          ++tries;
          found = look_into(member);
        }
      }
      if (!found) add_channel(channel);
    }
  }

  void add_guesses() {
    if (!options_.separators_given && options_.record_length == 0) {
      add_guess(
          "a new record begins behind a blank line or a repeated header line, or where the time is back at "
          "its start (input/record_separators and input/record_length override this)");
    }
    if (plan_.channels.empty() && options_.channels.empty() && plan_.groups.size() > 3) {
      add_guess(
          "the channels of the run are those named in the first, the middle and the last file "
          "(input/channels overrides this)");
    }
  }

  const TextRunPlan& plan_;
  const TextOptions& options_;
  RunDescription description_;
  std::optional<TextDialect> hint_;
  std::optional<Error> first_failure_;
};

}  // namespace

TextRunPlan text_run_plan(const std::vector<std::filesystem::path>& files, const TextOptions& options,
                          const std::optional<FilePattern>& pattern) {
  TextRunPlan plan;
  if (!pattern) {
    plan.files = files;
    for (std::size_t i = 0; i < files.size(); ++i) plan.groups.push_back({std::nullopt, {{i, {}}}});
    return plan;
  }
  FileGroups found =
      group_files(files, *pattern, pattern->has_channel() ? options.channels : std::vector<std::string>{});
  plan.one_record_a_group = pattern->has_record();
  for (const FileGroups::Group& group : found.groups) {
    TextRunPlan::Group planned;
    if (pattern->has_record()) planned.index = group.index;
    for (std::size_t i = 0; i < group.files.size(); ++i) {
      if (group.files[i] != FileGroups::no_file)
        planned.members.push_back({group.files[i], found.channels[i]});
    }
    plan.groups.push_back(std::move(planned));
  }
  plan.files = std::move(found.files);
  plan.remarks = std::move(found.remarks);
  if (pattern->has_channel()) plan.channels = std::move(found.channels);
  return plan;
}

std::string channel_name(const TextRunPlan::Member& member, const TextLayout& layout, std::size_t voltage) {
  if (member.channel.empty()) return layout.voltages[voltage].name;
  return layout.voltages.size() == 1 ? member.channel : member.channel + " " + layout.voltages[voltage].name;
}

TextRunLook look_into_text_run(const TextRunPlan& plan, const TextOptions& options) {
  return FirstLook(plan, options).look();
}

}  // namespace firstedge
