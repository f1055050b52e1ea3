#include "firstedge/io/hdf5_reader.hpp"

#include "firstedge/io/file_run.hpp"
#include "firstedge/io/hdf5_mapping.hpp"
#include "firstedge/io/hdf5_plan.hpp"
#include "firstedge/io/hdf5_record_file.hpp"

#include <algorithm>
#include <optional>
#include <utility>

namespace firstedge {
namespace {

// What all files together have to say before any record is read.
RunDescription description_of(const FileArrangement& arrangement, const Hdf5Mapping& mapping) {
  RunDescription description;
  description.format = "hdf5";
  description.channels = arrangement.channels;
  bool is_first = true;
  std::optional<Error> first_problem;
  for (const ByteSource& source : arrangement.sources) {
    try {
      const Hdf5File file(source.path());
      const Hdf5Plan plan = hdf5_plan(file, mapping, 0);
      if (is_first) {
        description.guesses = plan.guesses;
        description.metadata = plan.metadata;
        const Hdf5ChannelData channel(file, plan.channels.front(),
                                      std::make_shared<Hdf5Array>(file, plan.channels.front().dataset));
        if (channel.sample_type()) {
          std::vector<std::string> guesses =
              hdf5_scale_guesses(plan.channels.front().scale, *channel.sample_type());
          std::move(guesses.begin(), guesses.end(), std::back_inserter(description.guesses));
        }
        is_first = false;
      }
      if (!arrangement.channels.empty()) continue;
      for (const Hdf5Channel& channel : plan.channels) {
        const auto found = std::find(description.channels.begin(), description.channels.end(), channel.name);
        if (found == description.channels.end()) description.channels.push_back(channel.name);
      }
    } catch (const Error& problem) {
      if (!first_problem) first_problem = problem;
    }
  }
  if (is_first && first_problem) throw *first_problem;
  return description;
}

}  // namespace

bool starts_as_hdf5(std::span<const std::byte> head) {
  for (std::size_t at = 0; at <= 2048; at = at == 0 ? 512 : at * 2) {
    if (has_hdf5_signature(head.subspan(std::min(at, head.size())))) return true;
  }
  return false;
}

std::unique_ptr<RecordReader> open_hdf5(const std::vector<std::filesystem::path>& files,
                                        const Settings& input) {
  Hdf5Mapping mapping = hdf5_mapping(input);
  FileArrangement arrangement = arrange_files(sources_of(files), input);
  if (!arrangement.channels.empty()) mapping.names.clear();  // they choose files, not channels in a file
  RunDescription description = description_of(arrangement, mapping);
  // With one file a channel, the channels inside the files have no say.
  const std::vector<std::string> run_channels =
      arrangement.channels.empty() ? description.channels : std::vector<std::string>();
  return read_file_run(
      std::move(description), std::move(arrangement),
      [mapping, run_channels](const ByteSource& source, std::size_t position) {
        auto file = std::make_shared<Hdf5RecordFile>(source.path(), mapping, run_channels, position);
        return RecordFile{file->records(), [file](std::size_t most) { return file->next(most); },
                          [file](std::uint64_t most) { return file->skip(most); }};
      });
}

}  // namespace firstedge
